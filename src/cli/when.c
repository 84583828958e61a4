/* SPDX-License-Identifier: MIT
 * See when.h. */
#include "cli/when.h"

#include <ctype.h>
#include <stdbool.h>
#include <string.h>
#include <strings.h>
#include <time.h>

/* A whole number of one to most digits at *p; -1: none. *digits: how many it had. */
static int take_number(const char **p, int most, int *digits)
{
    int v = 0;
    *digits = 0;
    while (isdigit((unsigned char)**p) && *digits < most) {
        v = 10 * v + (**p - '0');
        ++*p;
        ++*digits;
    }
    return *digits ? v : -1;
}

static const char *take_date(const char **p, const char *order, struct tm *tm)
{
    int v[3], digits[3];
    char mark = 0;
    for (int i = 0; i < 3; i++) {
        v[i] = take_number(p, 4, &digits[i]);
        if (v[i] < 0)
            return "is not a date";
        if (i < 2) {
            if (!strchr("-/.", **p) || !**p || (mark && **p != mark))
                return "is not a date";
            mark = *(*p)++;
        }
    }
    bool year_first = digits[0] == 4;
    if (!year_first && strcmp(order, "ymd") == 0)
        return "does not begin with the year: give --dates dmy or mdy";
    int year = year_first ? 0 : 2, month = year_first ? 1 : strcmp(order, "mdy") == 0 ? 0 : 1;
    int day = 3 - year - month;
    if (digits[year] != 4)
        return "has no year of four digits";
    tm->tm_year = v[year] - 1900;
    tm->tm_mon = v[month] - 1;
    tm->tm_mday = v[day];
    return NULL;
}

/* Seconds since midnight and microseconds; moves *p behind it and AM or PM. */
static const char *take_clock(const char **p, int *s, int *us)
{
    int digits, h = take_number(p, 2, &digits), m = -1, sec = 0;
    *us = 0;
    if (h >= 0 && **p == ':') {
        ++*p;
        m = take_number(p, 2, &digits);
    }
    if (m < 0)
        return "has no time of day";
    if (**p == ':') {
        ++*p;
        sec = take_number(p, 2, &digits);
        if (sec < 0)
            return "is not a time";
        if (**p == '.' || **p == ',') {
            int scale = 100000;
            ++*p;
            if (!isdigit((unsigned char)**p))
                return "is not a time";
            for (; isdigit((unsigned char)**p); ++*p, scale /= 10)
                *us += scale * (**p - '0');
        }
    }
    const char *rest = *p;
    while (*rest == ' ')
        rest++;
    bool am = strncasecmp(rest, "AM", 2) == 0, pm = strncasecmp(rest, "PM", 2) == 0;
    if (am || pm) {
        if (h < 1 || h > 12)
            return "is not a time";
        h = h % 12 + (pm ? 12 : 0);
        *p = rest + 2;
    }
    if (h > 23 || m > 59 || sec > 59)
        return "is not a time";
    *s = 3600 * h + 60 * m + sec;
    return NULL;
}

/* Z or +hh:mm: then *local is false and *offset_s its distance from UTC. */
static const char *take_zone(const char **p, bool *local, int *offset_s)
{
    int digits;
    *local = true;
    *offset_s = 0;
    if (**p == 'Z' || **p == 'z') {
        *local = false;
        ++*p;
    } else if (**p == '+' || **p == '-') {
        int sign = *(*p)++ == '-' ? -1 : 1, h = take_number(p, 2, &digits), m = 0;
        if (**p == ':')
            ++*p;
        if (isdigit((unsigned char)**p))
            m = take_number(p, 2, &digits);
        if (h < 0 || h > 14 || m > 59)
            return "has a time zone that is none";
        *local = false;
        *offset_s = sign * (3600 * h + 60 * m);
    }
    return NULL;
}

const char *uf_when_parse(const char *text, const char *order, int64_t day_utc_us, int64_t *utc_us)
{
    struct tm tm = {.tm_isdst = -1}, asked;
    int s, us, offset_s;
    bool local;
    const char *p = text, *wrong;
    while (*p == ' ')
        p++;
    const char *first = p + strspn(p, "0123456789");
    if (*first == ':') { /* a time of day alone */
        time_t day = (time_t)(day_utc_us / 1000000);
        if (day_utc_us == UF_WHEN_NO_DAY)
            return "has no day: give --day DATE";
        if (!localtime_r(&day, &tm))
            return "is of no day";
        tm.tm_isdst = -1;
    } else {
        wrong = take_date(&p, order, &tm);
        if (wrong)
            return wrong;
        if (*p == 'T')
            p++;
        else if (*p == ',' || *p == ' ')
            p += strspn(p, ", ");
        else
            return *p ? "is not a date and a time" : "has no time of day";
    }
    wrong = take_clock(&p, &s, &us);
    if (!wrong)
        wrong = take_zone(&p, &local, &offset_s);
    if (wrong)
        return wrong;
    while (*p == ' ')
        p++;
    if (*p)
        return "is not a date and a time";
    tm.tm_hour = s / 3600;
    tm.tm_min = s / 60 % 60;
    tm.tm_sec = s % 60;
    asked = tm;
    time_t t = local ? mktime(&tm) : timegm(&tm);
    if (t == (time_t)-1 || tm.tm_year != asked.tm_year || tm.tm_mon != asked.tm_mon ||
        tm.tm_mday != asked.tm_mday)
        return "is a day that does not exist";
    *utc_us = ((int64_t)t - offset_s) * 1000000 + us;
    return NULL;
}

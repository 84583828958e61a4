/* SPDX-License-Identifier: MIT
 * open and open64 for a library of LD_PRELOAD that has an open_it(name, path, flags, mode). */
#ifndef UF_FAULT_OPEN_CALLS_H
#define UF_FAULT_OPEN_CALLS_H

static mode_t mode_of(int flags, va_list args)
{
    return flags & O_CREAT ? va_arg(args, mode_t) : 0;
}

int open(const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t mode = mode_of(flags, args);
    va_end(args);
    return open_it("open", path, flags, mode);
}

int open64(const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t mode = mode_of(flags, args);
    va_end(args);
    return open_it("open64", path, flags, mode);
}

#endif

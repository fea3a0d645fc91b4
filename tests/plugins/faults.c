/* Makes writing and syncing fail, or slow, for files with a certain name.

   Loaded before the C library (LD_PRELOAD). Calls are counted from the last faults_arm() on; those
   from `first` to `first + count - 1` fail with `error`. FAULTS_NAME: part of the path of the files
   concerned. FAULTS_SYNC_MS: how long each sync takes. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static long calls, first = -1, count, error_number = EIO;

void faults_arm(long from, long how_many, long with)
{
    calls = 0;
    first = from;
    count = how_many;
    error_number = with;
}

long faults_calls(void) { return calls; }

static int concerned(int fd)
{
    static const char *name;
    char link[64], path[4096];
    ssize_t length;
    if (!name && !(name = getenv("FAULTS_NAME")))
        return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    length = readlink(link, path, sizeof path - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return strstr(path, name) != NULL;
}

static int fails(int fd)
{
    long call;
    if (!concerned(fd))
        return 0;
    call = __atomic_add_fetch(&calls, 1, __ATOMIC_SEQ_CST);
    if (first < 0 || call < first || call >= first + count)
        return 0;
    errno = (int)error_number;
    return 1;
}

static void wait_for_disk(int fd)
{
    const char *ms = getenv("FAULTS_SYNC_MS");
    if (ms && concerned(fd)) {
        long n = atol(ms);
        struct timespec t = {n / 1000, n % 1000 * 1000000};
        nanosleep(&t, NULL);
    }
}

#define REAL(name) \
    static __typeof__(name) *real; \
    if (!real) \
        real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void *data, size_t size)
{
    REAL(write);
    return fails(fd) ? -1 : real(fd, data, size);
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t at)
{
    REAL(pwrite);
    return fails(fd) ? -1 : real(fd, data, size, at);
}

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at)
{
    REAL(pwrite64);
    return fails(fd) ? -1 : real(fd, data, size, at);
}

int ftruncate64(int fd, off64_t size)
{
    REAL(ftruncate64);
    return fails(fd) ? -1 : real(fd, size);
}

int fsync(int fd)
{
    REAL(fsync);
    wait_for_disk(fd);
    return fails(fd) ? -1 : real(fd);
}

int fdatasync(int fd)
{
    REAL(fdatasync);
    wait_for_disk(fd);
    return fails(fd) ? -1 : real(fd);
}

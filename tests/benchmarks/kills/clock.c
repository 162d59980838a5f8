/* The clock of the wall as many seconds off as the file at CLOCK_OFFSET says, for a process that
   is begun with this in LD_PRELOAD. What waits goes by the monotonic clock, which stays. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static volatile const int64_t *offset;

__attribute__((constructor)) static void look(void) {
    const char *path = getenv("CLOCK_OFFSET");
    int file = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (file < 0) return;
    void *seen = mmap(NULL, sizeof *offset, PROT_READ, MAP_SHARED, file, 0);
    if (seen != MAP_FAILED) offset = seen;
    close(file);
}

int clock_gettime(clockid_t clock, struct timespec *now) {
    int failed = (int)syscall(SYS_clock_gettime, clock, now);
    if (!failed && offset && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
        now->tv_sec += *offset;
    return failed;
}

int gettimeofday(struct timeval *restrict now, void *restrict zone) {
    (void)zone;
    struct timespec seen;
    if (clock_gettime(CLOCK_REALTIME, &seen)) return -1;
    now->tv_sec = seen.tv_sec;
    now->tv_usec = seen.tv_nsec / 1000;
    return 0;
}

time_t time(time_t *now) {
    struct timespec seen;
    clock_gettime(CLOCK_REALTIME, &seen);
    if (now) *now = seen.tv_sec;
    return seen.tv_sec;
}

// Laid over the C library of the program under test (LD_PRELOAD): makes the disk slow and the wall clock step.
// The program itself knows nothing of it. It is told what to do by a file of four 64-bit numbers, mapped by both sides:
// how long a sync takes, ns; what is added to the wall clock, ns; how many syncs were held up; how often the wall clock was asked.
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static volatile int64_t *told;

__attribute__((constructor)) static void open_told(void) {
    const char *path = getenv("LOFTWATCH_FAULTS");
    int file = path ? open(path, O_RDWR | O_CLOEXEC) : -1;
    if (file < 0) return;
    void *at = mmap(NULL, 32, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    if (at != MAP_FAILED) told = at;
    close(file);
}

static void hold_up(void) {
    if (!told || told[0] <= 0) return;
    __atomic_fetch_add(&told[2], 1, __ATOMIC_RELAXED);
    struct timespec wait = {told[0] / 1000000000, told[0] % 1000000000};
    nanosleep(&wait, NULL);
}

int fsync(int file) {
    int (*next)(int) = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    hold_up();
    return next(file);
}

int fdatasync(int file) {
    int (*next)(int) = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    hold_up();
    return next(file);
}

int clock_gettime(clockid_t clock, struct timespec *at) {
    static int (*next)(clockid_t, struct timespec *);
    if (!next) next = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int result = next(clock, at);
    if (result == 0 && told && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)) {
        __atomic_fetch_add(&told[3], 1, __ATOMIC_RELAXED);
        int64_t ns = at->tv_sec * 1000000000LL + at->tv_nsec + told[1];
        at->tv_sec = ns / 1000000000LL;
        at->tv_nsec = ns % 1000000000LL;
    }
    return result;
}

int gettimeofday(struct timeval *restrict at, void *restrict zone) {
    (void)zone;
    struct timespec now;
    int result = clock_gettime(CLOCK_REALTIME, &now);
    at->tv_sec = now.tv_sec;
    at->tv_usec = now.tv_nsec / 1000;
    return result;
}

time_t time(time_t *at) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (at) *at = now.tv_sec;
    return now.tv_sec;
}

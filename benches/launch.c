/* Runs a program with its output thrown away and prints what it took: wall, user and system seconds, and the largest
   resident memory in KiB. Small itself, as a child begins with the memory of its parent.
   cc -O2 -o launch launch.c */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

int main(int count, char **arguments)
{
    struct timespec begin, end;
    struct rusage usage;
    int status;
    pid_t child;

    if (count < 2) {
        fprintf(stderr, "launch PROGRAM [ARGUMENT...]\n");
        return 2;
    }
    clock_gettime(CLOCK_MONOTONIC, &begin);
    child = fork();
    if (child < 0) {
        perror("fork");
        return 2;
    }
    if (child == 0) {
        int sink = open("/dev/null", O_WRONLY);
        if (sink < 0 || dup2(sink, 1) < 0)
            _exit(127);
        execvp(arguments[1], arguments + 1);
        perror(arguments[1]);
        _exit(127);
    }
    if (wait4(child, &status, 0, &usage) < 0) {
        perror("wait4");
        return 2;
    }
    clock_gettime(CLOCK_MONOTONIC, &end);
    printf("%.4f %ld.%06ld %ld.%06ld %ld %d\n",
           (double)(end.tv_sec - begin.tv_sec) + (double)(end.tv_nsec - begin.tv_nsec) / 1e9,
           (long)usage.ru_utime.tv_sec, (long)usage.ru_utime.tv_usec,
           (long)usage.ru_stime.tv_sec, (long)usage.ru_stime.tv_usec,
           usage.ru_maxrss, WIFEXITED(status) ? WEXITSTATUS(status) : 255);
    return 0;
}

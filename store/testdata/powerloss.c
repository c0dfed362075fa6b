// Preloaded into a process, this writes what the process does to the files of one
// database into a log, in order, so that a test can rebuild what a disk would hold
// after a loss of power: all that was synced, and any part of the rest. It can also
// play a disk that is full.
//
// A log entry: op, length of the name, offset, length of the data (each 8 bytes),
// name, data. Ops: W write, T truncate (to offset), S sync of a file, D sync of the
// folder, C creation, U removal. The program under test adds its own: A.
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

static const char *prefix; // of the paths that count: the database
static int log_fd = -1;
static int64_t room = -1; // bytes until the disk is full; -1: it never is

__attribute__((constructor)) static void start(void) {
  prefix = getenv("POWERLOSS_DB");
  const char *log = getenv("POWERLOSS_LOG");
  const char *full = getenv("POWERLOSS_ROOM");
  if (full) room = atoll(full);
  int (*real)(const char *, int, ...) = dlsym(RTLD_NEXT, "open");
  if (log) log_fd = real(log, O_WRONLY | O_APPEND | O_CREAT, 0600);
}

static void entry(char op, const char *name, int64_t off, const void *data, int64_t n) {
  if (log_fd < 0) return;
  static __thread char buf[1 << 17];
  uint64_t head[4] = {op, strlen(name), off, n};
  if (sizeof head + head[1] + n > sizeof buf) abort();
  memcpy(buf, head, sizeof head);
  memcpy(buf + sizeof head, name, head[1]);
  if (n) memcpy(buf + sizeof head + head[1], data, n);
  ssize_t (*real)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
  if (real(log_fd, buf, sizeof head + head[1] + n) < 0) abort();
}

// name_of returns the file's name if it is one that counts. SQLite's shared memory is
// no part of what outlasts a loss of power.
static const char *name_of(int fd, char *path) {
  char link[64];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t n = readlink(link, path, 4095);
  if (n < 0 || !prefix) return 0;
  path[n] = 0;
  size_t len = strlen(prefix);
  if (strncmp(path, prefix, len) || strstr(path, "-shm")) return 0;
  return strrchr(path, '/') + 1;
}

static int full(int64_t n) {
  if (room < 0) return 0;
  if (n > room) {
    errno = ENOSPC;
    return 1;
  }
  room -= n;
  return 0;
}

static ssize_t pwrite_as(const char *sym, int fd, const void *b, size_t n, off_t off) {
  ssize_t (*real)(int, const void *, size_t, off_t) = dlsym(RTLD_NEXT, sym);
  char path[4096];
  const char *name = name_of(fd, path);
  if (name && full(n)) return -1;
  ssize_t k = real(fd, b, n, off);
  if (name && k > 0) entry('W', name, off, b, k);
  return k;
}
ssize_t pwrite(int fd, const void *b, size_t n, off_t off) { return pwrite_as("pwrite", fd, b, n, off); }
ssize_t pwrite64(int fd, const void *b, size_t n, off64_t off) { return pwrite_as("pwrite64", fd, b, n, off); }

static int truncate_as(const char *sym, int fd, off_t n) {
  int (*real)(int, off_t) = dlsym(RTLD_NEXT, sym);
  char path[4096];
  const char *name = name_of(fd, path);
  int r = real(fd, n);
  if (name && !r) entry('T', name, n, 0, 0);
  return r;
}
int ftruncate(int fd, off_t n) { return truncate_as("ftruncate", fd, n); }
int ftruncate64(int fd, off64_t n) { return truncate_as("ftruncate64", fd, n); }

static int sync_as(const char *sym, int fd) {
  int (*real)(int) = dlsym(RTLD_NEXT, sym);
  int r = real(fd);
  char path[4096];
  struct stat st;
  const char *name = name_of(fd, path);
  if (name) entry('S', name, 0, 0, 0);
  else if (!fstat(fd, &st) && S_ISDIR(st.st_mode)) entry('D', "", 0, 0, 0);
  return r;
}
int fsync(int fd) { return sync_as("fsync", fd); }
int fdatasync(int fd) { return sync_as("fdatasync", fd); }

static int open_as(const char *sym, const char *path, int flags, mode_t mode) {
  int (*real)(const char *, int, ...) = dlsym(RTLD_NEXT, sym);
  int there = !access(path, F_OK), fd = real(path, flags, mode);
  char buf[4096];
  const char *name;
  if (fd >= 0 && !there && (flags & O_CREAT) && (name = name_of(fd, buf))) entry('C', name, 0, 0, 0);
  return fd;
}
#define MODE(flags, mode) do { va_list v; va_start(v, flags); mode = flags & O_CREAT ? va_arg(v, int) : 0; va_end(v); } while (0)
int open(const char *path, int flags, ...) { mode_t m; MODE(flags, m); return open_as("open", path, flags, m); }
int open64(const char *path, int flags, ...) { mode_t m; MODE(flags, m); return open_as("open64", path, flags, m); }

int unlink(const char *path) {
  int (*real)(const char *) = dlsym(RTLD_NEXT, "unlink");
  int r = real(path);
  size_t len = prefix ? strlen(prefix) : 0;
  if (!r && prefix && !strncmp(path, prefix, len) && !strstr(path, "-shm")) entry('U', strrchr(path, '/') + 1, 0, 0, 0);
  return r;
}

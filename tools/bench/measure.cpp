// Runs a command several times and prints its least wall time in seconds and its largest resident memory in MB.
// usage: measure RUNS COMMAND ARGUMENT...
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>

int main(int argc, char** argv) {
  if (argc < 3) {
    std::fprintf(stderr, "usage: measure RUNS COMMAND ARGUMENT...\n");
    return 2;
  }
  double least = 1e300;
  long memory = 0;
  for (int i = std::atoi(argv[1]); i > 0; --i) {
    const auto start = std::chrono::steady_clock::now();
    const pid_t child = ::fork();
    if (child == 0) {
      const int null = ::open("/dev/null", O_WRONLY);
      ::dup2(null, 1);
      ::dup2(null, 2);
      ::execvp(argv[2], argv + 2);
      ::_exit(127);
    }
    int status = 0;
    struct rusage used {};
    ::wait4(child, &status, 0, &used);
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) {
      std::fprintf(stderr, "measure: %s failed\n", argv[2]);
      return 1;
    }
    least = std::min(least, std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
    memory = std::max(memory, used.ru_maxrss);
  }
  std::printf("%.3f %ld\n", least, memory / 1024);
  return 0;
}

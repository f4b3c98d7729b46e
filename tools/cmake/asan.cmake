# cmake -C tools/cmake/asan.cmake -S . -B build/asan : address and undefined-behaviour sanitizers
# (vptr is off: CGAL casts its arrangement records down to the derived type)
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "")
set(CMAKE_CXX_FLAGS "-fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-sanitize=vptr -fno-omit-frame-pointer" CACHE STRING "")
set(CMAKE_CXX_FLAGS_RELWITHDEBINFO "-O1 -g1" CACHE STRING "")

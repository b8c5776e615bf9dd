package trial

import (
	"os"
	"runtime"
	"strconv"
	"strings"
	"syscall"
)

// residentBytes is the memory of this process that is in the machine's, 0 where
// the system does not tell (Linux does).
func residentBytes() int64 {
	raw, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(raw)) {
		if v, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			kB, _ := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(v), " kB"), 10, 64)
			return kB << 10
		}
	}
	return 0
}

func heapBytes() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapInuse
}

// processorSeconds is what this process has used of processors, its own code and
// the kernel's for it.
func processorSeconds() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

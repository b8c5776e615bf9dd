//go:build unix

package duelist_test

import (
	"math/rand/v2"
	"syscall"
	"testing"
	"time"
)

// spent is the processor time of this process so far: what others do on the machine
// does not count.
func spent(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkSites plans 200 simulated sites of 60 banks, one after another, and tells
// the processor time of the mean and of the dearest.
func BenchmarkSites(b *testing.B) {
	dearest, sum, n := time.Duration(0), time.Duration(0), 0
	for b.Loop() {
		for seed := range uint64(200) {
			jobs, costs := site(rand.New(rand.NewPCG(seed, 1)), 60, 120+int(seed%3)*120)
			began := spent(b)
			plan(b, jobs, costs, calendar())
			took := spent(b) - began
			dearest, sum, n = max(dearest, took), sum+took, n+1
		}
	}
	b.ReportMetric(float64(sum.Microseconds())/1000/float64(n), "cpu-ms/site")
	b.ReportMetric(float64(dearest.Microseconds())/1000, "cpu-ms/dearest")
}

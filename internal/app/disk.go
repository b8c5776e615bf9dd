//go:build !faults

package app

// beforeCommit is nil but in builds for the tests of faults.
var beforeCommit func(int)

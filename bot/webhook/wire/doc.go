// Package wire reads what integrators send: packed bodies of JSON, JSON lines,
// CSV and CloudEvents, into items. It is pure: bytes and headers in, items and
// faults out.
package wire

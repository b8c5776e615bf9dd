// Package doubt finds readings that do not fit: a fall without a change-out, a
// spike that recovers, a value that never changes, a wrong unit, tubes swapped.
//
// It walks once through the readings of one filter life in the order of time and
// keeps a local straight line of ln(resistance) over run hours: level, rate, and
// the scatter that the life's own readings show. Each reading is judged by the
// line before it moves the line. One that is far off is set aside; what comes
// next decides whether it was a slip, a lasting change, or a fault:
//
//	next fits the line again     the odd one was a spike or a dip; closed
//	next is high too             loading jumped; both count; closed
//	next is low too              filters do not get cleaner: open, and blocks
//	                             judgement, until a change-out, a fault put right
//	                             or values back on the line
//
// The result depends on the set of readings alone, not on the order they are
// given in; the work is proportional to their number. Thresholds are of our own
// choice, set by the simulation in this package's tests; where they follow
// gauge practice it says so. Everything is pure.
package doubt

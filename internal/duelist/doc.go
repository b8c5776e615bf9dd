// Package duelist turns forecasts into work: it names the condition of every
// bank, ranks the banks to change, bundles the change-outs of a site into
// visits, and counts the filters to order.
//
// It is pure: no clock and no I/O; what is known comes in as plain structs, and
// the same input, in any order, gives the same answer. Days are civil days of
// the site's time zone, so a day of 23 or 25 hours counts as one. Costs are
// added in whole millionths of the site's currency, so no sum depends on the
// order it was made in.
package duelist

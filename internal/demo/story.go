package demo

import "clogwise/internal/plant"

// story is what the demo wants to be true of a bank at now. The simulation finds
// the dust loading that leads there.
type story struct {
	bank plant.BankID
	age  int     // days since the last change-out
	rise float64 // of the way from clean to limit now; 1 = at the limit
	late float64 // rise at which the change-out before the last one was made; 0 = in time
}

var stories = [...]story{
	{bank: "clinic/ahu-1/primary", age: 85, rise: 0.82},
	{bank: "clinic/ahu-1/secondary", age: 190, rise: 0.60},
	{bank: "clinic/ahu-2/primary", age: 72, rise: 1.06},
	{bank: "clinic/ahu-2/secondary", age: 60, rise: 0.30},
	{bank: "clinic/ahu-2/return", age: 100, rise: 0.50},
	{bank: "clinic/ahu-3/primary", age: 40, rise: 0.45},
	{bank: "clinic/ahu-3/secondary", age: 112, rise: 0.62},
	{bank: "clinic/ahu-t1/primary", age: 10, rise: 0.09},
	{bank: "clinic/ahu-t1/secondary", age: 130, rise: 0.80},
	{bank: "clinic/ahu-t1/third", age: 300, rise: 0.35},
	{bank: "clinic/sf-1/primary", age: 70, rise: 0.50},
	{bank: "clinic/ef-9/primary", age: 55, rise: 0.50},
	{bank: "clinic/ef-9/secondary", age: 350, rise: 0.25},

	{bank: "hall/ahu-1/primary", age: 130, rise: 1.38},
	{bank: "hall/ahu-1/secondary", age: 140, rise: 0.85},
	{bank: "hall/ahu-1/return", age: 160, rise: 0.45},
	{bank: "hall/ahu-2/primary", age: 75, rise: 0.55},
	{bank: "hall/ahu-2/secondary", age: 120, rise: 0.72},
	{bank: "hall/ahu-3/primary", age: 60, rise: 0.42},
	{bank: "hall/ahu-3/secondary", age: 35, rise: 0.12},
	{bank: "hall/ahu-4/primary", age: 90, rise: 0.50},
	{bank: "hall/ahu-4/secondary", age: 200, rise: 0.55},
	{bank: "hall/ahu-5/primary", age: 65, rise: 0.60},
	{bank: "hall/ahu-5/return", age: 125, rise: 0.45},

	{bank: "works/ahu-11/primary", age: 20, rise: 0.28, late: 1.45},
	{bank: "works/ahu-11/secondary", age: 85, rise: 0.50},
	{bank: "works/ahu-12/primary", age: 30, rise: 0.50},
	{bank: "works/ahu-12/secondary", age: 110, rise: 0.88},
	{bank: "works/mau-2/primary", age: 42, rise: 0.60},
	{bank: "works/mau-2/secondary", age: 75, rise: 0.40},
	{bank: "works/rtu-7/primary", age: 95, rise: 1.03},
	{bank: "works/rtu-8/primary", age: 3, rise: 0.03},
}

// days counts calendar days back from now, site time, both ends included.
type days struct{ from, to int }

// week is the seven days around a day, which hold one weekly round.
func week(back int) days { return days{back + 3, back - 3} }

// What goes wrong where.
var (
	torn      = trouble{"hall/ahu-2/secondary", days{11, 0}}
	wetUnsaid = trouble{"hall/ahu-3/primary", week(25)}
	wetSaid   = trouble{"works/mau-2/primary", week(18)}
	stuck     = trouble{"works/ahu-11/secondary", days{24, 14}}
	locked    = trouble{"hall/ahu-5/return", days{56, 0}}
	bouncing  = trouble{"works/ahu-12/primary", week(34)}
	smoke     = trouble{"works", days{50, 45}}
	unitOff   = trouble{"hall/ahu-4", week(67)}
)

// trouble is a place and a time at which something is the matter.
type trouble struct {
	place plant.BankID
	when  days
}

func (t trouble) hits(place plant.BankID, back int) bool {
	return t.place == place && back <= t.when.from && back >= t.when.to
}

// trended is the bank whose readings come from the building system, daily.
const trended plant.BankID = "works/ahu-11/secondary"

// custom is how a site goes about its rounds.
type custom struct {
	weekday int // time.Weekday of the weekly round
	hour    int // site time at which it begins
	dust    [12]float64
	words   map[plant.Stage][]string // what people there call the stages
}

// Dust by month is invented: pollen in spring, leaves and heating in autumn.
// Words are for banks that have no alias of their own.
var customs = map[string]custom{
	"clinic": {2, 8, [12]float64{1, 0.95, 1.05, 1.2, 1.2, 1.05, 0.9, 0.85, 0.9, 1, 1, 0.95}, map[plant.Stage][]string{
		plant.Primary: {"pre", "primary", "panels"}, plant.Secondary: {"bag", "bags", "sec"}}},
	"hall": {3, 7, [12]float64{1.05, 1, 1, 1.1, 1.15, 1, 0.8, 0.8, 1, 1.1, 1.05, 1}, nil},
	"works": {1, 8, [12]float64{0.95, 0.95, 1, 1.1, 1.1, 1, 1, 1.05, 1.05, 1, 0.95, 0.9}, map[plant.Stage][]string{
		plant.Primary: {"pre", "pleats"}, plant.Secondary: {"final", "secondary"}}},
}

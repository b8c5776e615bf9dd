package view_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"clogwise/internal/entry"
	"clogwise/internal/ledger"
	"clogwise/internal/ledger/sqlite"
	"clogwise/internal/plant"
	"clogwise/internal/register"
	"clogwise/internal/units"
	"clogwise/internal/view"
)

// To measure a rebuild at scale:
//
//	go test -run TestRebuildAtScale -v -timeout 2h -banks 10000 -readings 365 -keep DIR ./internal/view
//	/usr/bin/time -v clogwise rebuild --data DIR --now 2026-03-04T10:00:00Z
var (
	scaleBanks    = flag.Int("banks", 24, "banks of the invented fleet")
	scaleReadings = flag.Int("readings", 52, "readings of each bank in its year")
	scaleKeep     = flag.String("keep", "", "folder to write the fleet's ledger into and leave it there")
)

// A fleet is a register of so many banks, two to an AHU and 200 to a site, with
// a year of readings at even intervals, told in order of time as a building
// system would: the readings of a bank lie far apart in the ledger.
type bigFleet struct{ banks, readings int }

func (f bigFleet) bank(i int) plant.BankID {
	stage := plant.Primary
	if i%2 == 1 {
		stage = plant.Secondary
	}
	return plant.MakeBankID(fmt.Sprintf("site-%d", i/200), fmt.Sprintf("ahu-%d", i/2%100), string(stage))
}

func (f bigFleet) contents() plant.Contents {
	c := plant.Contents{AHUs: map[plant.BankID]plant.AHU{}, Banks: map[plant.BankID]plant.Bank{}}
	price := decimal.RequireFromString("31.50")
	c.Items = []plant.Item{
		{Code: "PANEL", Class: "ISO coarse 60%", WidthMM: 592, HeightMM: 592, DepthMM: 48, FinalPa: 150, Price: price, Currency: "EUR",
			Points: []plant.FlowPoint{{FlowM3s: 0.472, Pa: 20}, {FlowM3s: 0.944, Pa: 48}}},
		{Code: "BAG", Class: "ISO ePM1 60%", WidthMM: 592, HeightMM: 592, DepthMM: 600, FinalPa: 250, Price: price, Currency: "EUR",
			Points: []plant.FlowPoint{{FlowM3s: 0.472, Pa: 38}, {FlowM3s: 0.944, Pa: 85}}},
	}
	for i := range f.banks {
		id := f.bank(i)
		if i%200 == 0 {
			c.Sites = append(c.Sites, plant.Site{ID: id.Site(), Name: id.Site(), Zone: "Europe/Berlin", Currency: "EUR", Units: units.SI,
				Tariff: plant.Tariff{PerKWh: decimal.RequireFromString("0.24")}, Carbon: plant.Carbon{KgPerKWh: 0.35},
				Schedule: plant.Schedule{Hours: map[string]float64{"Mon-Fri": 14, "Sat": 6}}})
		}
		_, ahu, slug := id.Split()
		c.AHUs[id.AHU()] = plant.AHU{ID: ahu, Tag: strings.ToUpper(ahu), DesignFlowM3s: 3.776, FanControl: plant.FlowHeld}
		b := plant.Bank{ID: slug, Stage: plant.Stage(slug), Item: "PANEL", Gauge: plant.Gauge{TopPa: 500, StepPa: 5},
			Fronts: []plant.Front{{WidthMM: 592, HeightMM: 592, DepthMM: 600, Count: 4}}, LabourHours: 1}
		if b.Stage == plant.Secondary {
			b.Item = "BAG"
		}
		c.Banks[id] = b
	}
	return c
}

// write fills a ledger.
func (f bigFleet) write(t testing.TB, store ledger.Store) {
	t.Helper()
	begin := now.AddDate(-1, 0, 0)
	var batch ledger.Batch
	flush := func(least int) {
		if len(batch.Entries) <= least {
			return
		}
		_, err := store.Commit(t.Context(), batch)
		must(t, err)
		batch.Entries = batch.Entries[:0]
	}
	put := func(x entry.Entry) {
		batch.Entries = append(batch.Entries, x)
		flush(5000)
	}
	for i, e := range register.Diff(nil, f.contents()) {
		place := plant.BankID(e.ID)
		if e.Object == register.ObjectItem {
			place = ""
		}
		put(entry.Entry{Source: fmt.Sprintf("register:%08d", i), Kind: e.Kind(), Place: place, At: begin, Received: begin, By: "import", Body: e})
	}
	lives := make([]bigLife, f.banks)
	year := now.Sub(begin)
	for n := range f.readings {
		at := begin.Add(time.Duration((float64(n) + 0.5) / float64(f.readings) * float64(year)))
		for i := range lives {
			if pa, changed := lives[i].next(i, float64(n)/float64(f.readings)); changed {
				put(swap(f.bank(i), at.Add(-time.Hour), pa, fmt.Sprintf("s:%d:%d", n, i)))
			} else {
				put(reading(f.bank(i), at, pa, fmt.Sprintf("bms:%d:%d", n, i)))
			}
		}
	}
	flush(0)
}

// bigLife is the present life of a bank of the fleet: where in the year it
// began and ends.
type bigLife struct {
	rnd        *rand.Rand
	begin, end float64
	clean      float64
}

// next is the reading at a share of the year; changed says that filters were
// changed and pa is the clean reading.
func (l *bigLife) next(bank int, share float64) (pa float64, changed bool) {
	clean, limit, usual := 48.0, 150.0, 0.27
	if bank%2 == 1 {
		clean, limit, usual = 85, 250, 0.55
	}
	if l.rnd == nil { // the first life began before the year
		l.rnd = rand.New(rand.NewPCG(uint64(bank), 5))
		l.begin, l.end, l.clean = -usual*l.rnd.Float64(), usual*l.rnd.Float64(), clean
	}
	if share > l.end {
		length := usual * math.Exp(0.2*l.rnd.NormFloat64())
		l.begin, l.end, l.clean = share, share+length, clean*(1+0.04*l.rnd.NormFloat64())
		return 5 * math.Round(l.clean/5), true
	}
	u := (share - l.begin) / (l.end - l.begin)
	pa = (l.clean + (limit-l.clean)*u*(0.5+0.5*u)) * (1 + 0.03*l.rnd.NormFloat64())
	return 5 * math.Round(pa/5), false
}

// A rebuild of a fleet covers every bank, gives the same to the last byte
// however its work is divided, and learns from all lives.
func TestRebuildAtScale(t *testing.T) {
	dir := *scaleKeep
	if dir == "" {
		dir = t.TempDir()
	}
	path := filepath.Join(dir, "ledger.db")
	_, missing := os.Stat(path)
	store, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	must(t, err)
	defer func() { must(t, store.Close()) }()
	if missing != nil {
		from := time.Now()
		bigFleet{*scaleBanks, *scaleReadings}.write(t, store)
		head, err := store.Head(t.Context())
		must(t, err)
		t.Logf("%d banks, %d entries written to %s in %s", *scaleBanks, head, path, time.Since(from).Round(time.Millisecond))
	}
	if *scaleKeep != "" {
		return // a rebuild in a process of its own tells its memory
	}
	rebuild := func(room int) map[plant.BankID]string {
		from := time.Now()
		n, err := view.RebuildWithin(t.Context(), view.New(store), now, room)
		must(t, err)
		t.Logf("%d banks rebuilt in %s", n, time.Since(from).Round(time.Millisecond))
		if n != *scaleBanks {
			t.Errorf("%d banks rebuilt, want %d", n, *scaleBanks)
		}
		return projections(t, store)
	}
	many := rebuild(1_000_000)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := rebuild(100) // of a site's entries: nearly all are read twice
	if len(many) != len(one) {
		t.Errorf("%d projections, then %d", len(many), len(one))
	}
	for bank, a := range many {
		if a != one[bank] {
			t.Errorf("%s differs between rebuilds: %s", bank, firstDifference(a, one[bank]))
		}
	}
	var a struct {
		Prior    string  `json:"prior"`
		Lives    int     `json:"prior_lives"`
		Readings int     `json:"readings"`
		LimitPa  float64 `json:"limit_pa"`
	}
	must(t, json.Unmarshal([]byte(many[bigFleet{}.bank(1)]), &a))
	if a.Lives == 0 || a.Readings == 0 || a.LimitPa != 250 {
		t.Errorf("secondary learnt from %d lives, holds %d readings to %g Pa", a.Lives, a.Readings, a.LimitPa)
	}
}

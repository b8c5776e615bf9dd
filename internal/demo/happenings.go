package demo

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// swaps are the change-outs of a site's banks.
func (h *history) swaps(s site) {
	for _, id := range h.reg.Banks(plant.BankID(s.ID)) {
		b := h.banks[id]
		if b == nil {
			continue
		}
		for i, l := range b.lives {
			var before float64
			if i > 0 {
				before = b.designPa(l.from.Add(-time.Second))
			}
			h.swap(b, l, before)
		}
	}
}

func (h *history) swap(b *bank, l life, before float64) {
	who := b.site.somebody(b.rng)
	count := b.plant.Count()
	sw := entry.Swap{Count: &count, Who: who, Confirmed: true}
	line := fmt.Sprintf("%s changed, %d off", b.name(), count)
	if !b.plant.Gauge.Absent {
		shown := b.rounded(b.shownPa(l.from, air{fraction: 1}))
		sw.CleanPa = &shown
		line += ", clean " + b.typed(shown)
	}
	if before > 1.2*b.limitPa { // worth a word
		before = b.rounded(min(before, cmp.Or(b.plant.Gauge.TopPa, before)))
		sw.BeforePa = &before
		line += ", was " + b.typed(before) + " before"
	}
	h.say(b.rng, l.from, string(b.id)+":swap", b.id, who, line, sw)
}

// trend is the daily value of the bank that a building system reports.
func (h *history) trend(s site) {
	b := h.banks[trended]
	if b == nil || trended.Site() != s.ID {
		return
	}
	loc := s.loc
	run := h.reg.ScheduleOf(trended).Runner(loc)
	y, m, d := h.start.In(loc).Date()
	held, mended := 0.0, h.mended(s)
	for i := 1; ; i++ {
		at := time.Date(y, m, d+i, 6, 0, 0, 0, loc)
		if at.After(h.now) {
			return
		}
		if _, ok := b.lifeAt(at); !ok || run.Hours(at, at.Add(time.Hour)) == 0 {
			continue
		}
		pa := math.Round(b.shownPa(at, air{fraction: 1})*10) / 10
		if h.back(s, at) <= stuck.when.from && at.Before(mended) {
			if held == 0 {
				held = pa
			}
			pa = held
		}
		h.say(b.rng, at, string(trended)+":trend", trended, "building system", "", entry.Reading{
			Pa: pa, StepPa: 0.1, Unit: "Pa", Quality: "median of 96",
		})
	}
}

// extras is all that is neither a reading nor a change-out.
func (h *history) extras() {
	if s, ok := h.site("clinic"); ok {
		h.clinicExtras(s)
	}
	if s, ok := h.site("hall"); ok {
		h.hallExtras(s)
	}
	if s, ok := h.site("works"); ok {
		h.worksExtras(s)
	}
}

func (h *history) clinicExtras(s site) {
	rng := newRand(h.seed, "clinic extras")
	h.say(rng, h.atWork(s, 58, 9, 20), "clinic/ahu-3:zero", "clinic/ahu-3/secondary", "Idris", "AHU-3 bag gauge zero checked ok", entry.ZeroCheck{})
	h.say(rng, h.atWork(s, 44, 8, 50), "clinic/ahu-2:skip", "clinic/ahu-2/return", "Pell", "no reading AHU-2 return, plantroom locked", entry.Skip{Reason: "plantroom locked"})
	h.stock(s, 6, "Tove", counted{"QC-P48", 10}, counted{"QC-P48H", 4}, counted{"QC-B600", 2})
	due := h.atWork(s, 0, 12, 0).AddDate(0, 0, 8)
	h.say(rng, h.atWork(s, 4, 11, 5), "clinic:order", "clinic", "Maren",
		"ordered 4 QC-B600, due "+due.Format("2 Jan"), entry.Order{Item: "QC-B600", Count: 4, Due: &due})
	h.booking(s, "clinic/ahu-2/primary", "AHU-2 pre")
}

// booking gives the change-out the next working morning whose day-before reminder
// is still to come: whoever opens the demo meets the due list first.
func (h *history) booking(s site, id plant.BankID, name string) {
	if h.banks[id] == nil || len(s.Supervisors) == 0 || len(s.Crew) < 2 {
		return
	}
	y, m, d := h.now.In(s.loc).Date()
	round := time.Date(y, m, d, 15, 0, 0, 0, s.loc) // when reminders go out on working days
	ahead := s.works(round) && h.now.Before(round)  // of the next working day's
	start := time.Date(y, m, d+1, 9, 0, 0, 0, s.loc)
	for ; !s.works(start) || !ahead; start = start.AddDate(0, 0, 1) {
		ahead = ahead || s.works(start)
	}
	crew := s.Crew[:2]
	h.say(newRand(h.seed, "booking"), h.atWork(s, 1, 14, 30), string(id)+":booking", id, s.Supervisors[0],
		fmt.Sprintf("book %s %s 9am, %s", name, start.Format("Mon 2 Jan"), strings.Join(crew, " and ")),
		entry.Booking{Start: start, Crew: append([]string{}, crew...)})
}

func (h *history) hallExtras(s site) {
	rng := newRand(h.seed, "hall extras")
	h.say(rng, h.atWork(s, 39, 7, 55), "hall/ahu-2:belt", "hall/ahu-2", "Jette", "AHU-2 belt squealing", entry.Defect{Note: "belt squealing"})
	h.say(rng, h.atWork(s, 31, 8, 5), "hall/ahu-1:zero", "hall/ahu-1/primary", "Oskar", "AHU-1 Vorfilter gauge zero 2 Pa off", entry.ZeroCheck{OffsetPa: 2})
	h.stock(s, 9, "Oskar", counted{"EM-V96", 12}, counted{"EM-V96H", 1}, counted{"EM-T635", 2})
}

func (h *history) worksExtras(s site) {
	rng := newRand(h.seed, "works extras")
	y, m, d := h.now.In(s.loc).Date()
	began := time.Date(y, m, d-smoke.when.from, 8, 40, 0, 0, s.loc)
	until := began.AddDate(0, 0, smoke.when.from-smoke.when.to+1)
	h.say(rng, began, "works:smoke", "works", "Dolores", "wildfire smoke outside since this morning, all units", entry.Event{What: "wildfire smoke", Until: &until})
	h.sensor(s)
	h.say(rng, h.atWork(s, 23, 9, 30), "works/mau-2:zero", "works/mau-2/secondary", "Bea", "MAU-2 final gauge zero ok", entry.ZeroCheck{})
	h.stock(s, 3, "Quincy", counted{"BF-24-2", 24}, counted{"BF-24-12", 8})
}

// mended is when the stuck sensor was found and put right.
func (h *history) mended(s site) time.Time { return h.atWork(s, stuck.when.to, 9, 30) }

// sensor says that the stuck sensor has been put right.
func (h *history) sensor(s site) {
	y, m, d := h.now.In(s.loc).Date()
	from := time.Date(y, m, d-stuck.when.from, 0, 0, 0, 0, s.loc)
	h.say(newRand(h.seed, "sensor"), h.mended(s), string(stuck.place)+":mended", stuck.place, "Wyatt",
		"AHU-11 final dp sensor stuck, tube was blocked, fixed",
		entry.Defect{Note: "dp sensor stuck, tube was blocked", Fixed: true, From: &from})
}

// counted is an item and how many of it were found in store.
type counted struct {
	item string
	n    int
}

// stock is a count of items in a site's store.
func (h *history) stock(s site, daysBack int, by string, found ...counted) {
	rng := newRand(h.seed, s.ID+" stock")
	at := h.atWork(s, daysBack, 13, 10)
	for _, f := range found {
		at = at.Add(40 * time.Second)
		h.say(rng, at, s.ID+":stock:"+f.item, plant.BankID(s.ID), by,
			fmt.Sprintf("stock %d %s", f.n, f.item), entry.Stock{Item: f.item, Count: f.n})
	}
}

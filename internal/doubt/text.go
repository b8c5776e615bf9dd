package doubt

import (
	"math"
	"time"

	"clogwise/internal/locale"
	"clogwise/internal/units"
)

// pressure prints Pa in both unit systems.
func (w *walk) pressure(pa float64) string { return w.in.In.Pressure(pa, w.in.Habit) }

// day is a date in the life's own zone.
func (w *walk) day(t time.Time) string {
	loc := w.in.Loc
	if loc == nil {
		loc = time.UTC
	}
	return w.in.In.Date(t.In(loc), "2 Jan")
}

// asRead is what the gauge would show at reading i of a level of the line, Pa.
func (w *walk) asRead(i int, level float64) float64 {
	r := &w.rs[i]
	if !(r.Pa/r.RawPa > 0) {
		return math.Exp(level)
	}
	return math.Exp(level) * r.RawPa / r.Pa
}

// expected is what the line would have the gauge show at reading i, Pa.
func (w *walk) expected(i int) float64 {
	return w.asRead(i, w.line.ahead(w.rs[i].X/w.life).level)
}

// fallen words a fall by how far down its readings are.
func (w *walk) fallen(r *run) {
	f, i := r.finding, r.last
	was, is := w.asRead(i, w.line.level), w.rs[i].RawPa
	f.Evidence["expected_pa"], f.Evidence["pa"] = was, is
	f.Evidence["fall_share"] = 1 - is/was
	f.Code, f.Blocks = Fall, true
	f.Text = w.in.In.Text("Down from %s to %s since %s, no change-out on record.", w.pressure(was), w.pressure(is), w.day(w.rs[r.first].At))
	f.Check = w.in.In.Text("Look for a torn or slipped filter, an open door, a slower fan. Say what was fixed, or changed.")
	if !(w.clean > 0) {
		return
	}
	r.least = min(r.least, r.y)
	toClean := r.least - math.Log(w.clean)
	f.Evidence["clean_pa"] = w.asRead(i, math.Log(w.clean))
	switch {
	case toClean < math.Log(0.5):
		f.Check = w.in.In.Text("Look for a tube off, an open door, missing filters. Say what was fixed.")
	case math.Abs(toClean) < nearCleanLn && w.line.level-math.Log(w.clean) > farFromCleanLn:
		f.Code = SwapUnreported
		f.Text = w.in.In.Text("Down to %s since %s, about the clean value; no change-out on record.", w.pressure(is), w.day(w.rs[r.first].At))
		f.Check = w.in.In.Text("If it was changed, say so with the date. If not, look for a torn filter or an open door.")
	}
}

const (
	nearCleanLn    = 0.1
	farFromCleanLn = 0.3
)

func (w *walk) tellDip(f *Finding, r *run, back int) {
	f.Evidence["back_pa"] = w.rs[back].RawPa
	f.Text = w.in.In.Text("Read %s from %s, back at %s on %s.", w.pressure(w.rs[r.first].RawPa), w.day(w.rs[r.first].At), w.pressure(w.rs[back].RawPa), w.day(w.rs[back].At))
	if r.n == 1 {
		f.Text = w.in.In.Text("Read %s on %s, back at %s on %s.", w.pressure(w.rs[r.first].RawPa), w.day(w.rs[r.first].At), w.pressure(w.rs[back].RawPa), w.day(w.rs[back].At))
	}
	f.Check = w.in.In.Text("Set aside. Look into it only if it comes back.")
}

func (w *walk) tellSpike(f *Finding, first, back int) {
	if f.Code == Jump {
		f.Code = Spike
	}
	f.Evidence["back_pa"] = w.rs[back].RawPa
	f.Text = w.in.In.Text("Read %s on %s, back at %s on %s.", w.pressure(w.rs[first].RawPa), w.day(w.rs[first].At), w.pressure(w.rs[back].RawPa), w.day(w.rs[back].At))
	f.Check = w.in.In.Text("Set aside: wet filters or a slip. Say `wet` with a reading taken in rain or fog.")
}

func (w *walk) tellJump(f *Finding, first, second int) {
	f.Evidence["second_pa"] = w.rs[second].RawPa
	if f.Code == OverTop {
		f.Text = w.in.In.Text("Reads %s again and again, more than the gauge can show.", w.pressure(w.rs[second].RawPa))
		f.Check = w.in.In.Text("Mend the top of the gauge in the register if it has been replaced.")
		return
	}
	f.Text = w.in.In.Text("Rose to %s on %s and stayed: counts as loaded.", w.pressure(w.rs[first].RawPa), w.day(w.rs[first].At))
	f.Check = w.in.In.Text("Look for the cause: smoke, building work, more airflow, a neglected primary.")
}

// tell words a single odd reading.
func (w *walk) tell(f *Finding, i int, v verdict) {
	r := &w.rs[i]
	is, was := w.pressure(r.RawPa), w.expected(i)
	if v.kind != zero && v.kind != negative {
		f.Evidence["expected_pa"] = was
	}
	if v.z != 0 {
		f.Evidence["sigmas"] = v.z
	}
	switch v.kind {
	case misplaced:
		f.Evidence["sibling_pa"] = v.shown
		f.Text = w.in.In.Text("Reads %s, like %s; %s was expected.", is, v.sibling.Name, w.pressure(was))
		f.Check = w.in.In.Text("If it was read there, take it back and give it for the right bank.")
		if r.RawPa < was { // a torn filter looks the same
			f.Blocks = true
			f.Check = w.in.In.Text("If it was read there, give it for the right bank. If not, look for a torn filter.")
		}
	case misunited:
		f.Evidence["factor"] = v.factor
		f.Text = w.in.In.Text("Reads %s; %s would fit: %s?", is, w.pressure(r.RawPa*v.factor), mixUp(v.factor, w.in.In))
		f.Check = w.in.In.Text("If so, take it back and give it again with its unit.")
	case zero:
		f.Blocks = true
		f.Text = w.in.In.Text("Reads zero.")
		f.Check = w.in.In.Text("Is the fan on? Look for a tube off, a closed cock, a dead sensor.")
	case negative:
		f.Blocks = true
		f.Text = w.in.In.Text("Reads %s, less than nothing.", is)
		f.Check = w.in.In.Text("High port goes upstream. Check the tubes and the gauge's zero.")
	case turned:
		f.Blocks = true
		f.Text = w.in.In.Text("Reads %s; without the minus it would fit: tubes swapped?", is)
		f.Check = w.in.In.Text("High port goes upstream. Change the tubes over, check the zero, read again.")
	case overTop:
		f.Evidence["top_pa"] = w.in.Gauge.TopPa
		f.Text = w.in.In.Text("Reads %s, more than the gauge can show (%s).", is, w.pressure(w.in.Gauge.TopPa))
		f.Check = w.in.In.Text("Read it again; check the unit.")
	default:
		w.tellHigh(f, r, was)
	}
}

func (w *walk) tellHigh(f *Finding, r *Reading, was float64) {
	f.Text = w.in.In.Text("Reads %s where about %s was expected.", w.pressure(r.RawPa), w.pressure(was))
	f.Check = w.in.In.Text("Read it again: wet filters, more airflow, a slip? A second like it counts.")
	limit := w.in.LimitPa
	switch {
	case !(limit > 0) || r.Pa < limit:
	case r.Pa > 2*limit:
		f.Code, f.Blocks = AboveTwice, true
		f.Text = w.in.In.Text("Reads %s, more than twice its limit; about %s was expected.", w.pressure(r.RawPa), w.pressure(was))
	default:
		f.Blocks = true
	}
}

// mixUp says in words which units may have been mixed up, by the factor that
// mends it.
func mixUp(factor float64, in locale.Locale) string {
	switch factor {
	case units.PaPerInH2O:
		return in.Text("inches taken as Pa")
	case 1 / units.PaPerInH2O:
		return in.Text("Pa taken as inches")
	case 1000:
		return in.Text("kPa taken as Pa")
	case 1.0 / 1000:
		return in.Text("Pa taken as kPa")
	case 100:
		return in.Text("mbar taken as Pa")
	case 1.0 / 100:
		return in.Text("Pa taken as mbar, or the point")
	case 25.4:
		return in.Text("inches taken as mm")
	case 1 / 25.4:
		return in.Text("mm taken as inches")
	case units.PaPerMmH2O:
		return in.Text("mm of water, or the point")
	}
	return in.Text("Pa taken as mm, or the point")
}

func (w *walk) tellSag(f *Finding, i int) {
	is := w.asRead(i, w.line.level)
	was := w.asRead(i, w.high.level)
	f.Evidence = map[string]float64{"from_pa": was, "to_pa": is, "fall_share": 1 - is/was}
	f.Text = w.in.In.Text("Crept down from %s to %s since %s.", w.pressure(was), w.pressure(is), w.day(w.high.at))
	f.Check = w.in.In.Text("Filters do not get cleaner: check the gauge's zero, the airflow, the filters' seating.")
}

func (w *walk) tellStuck(f *Finding, i int) {
	n := float64(w.flat.n)
	f.Evidence["readings"], f.Evidence["pa"], f.Evidence["surprise"] = n, w.rs[i].RawPa, w.flat.surprise
	f.Text = w.in.In.Text("Stuck at %s since %s, %.0f readings alike.", w.pressure(w.rs[i].RawPa), w.day(f.At), n)
	f.Check = w.in.In.Text("Check sensor and tubes: a blocked tube, a stuck needle, a value not refreshed.")
}

func (w *walk) tellUnstuck(f *Finding, first, n int) {
	last := w.rs[first].At
	for k := first; k < len(w.rs) && n > 0; k++ {
		if w.rs[k].RawPa == w.rs[first].RawPa {
			last = w.rs[k].At
			n--
		}
	}
	f.Text = w.in.In.Text("Stuck at %s from %s to %s, %.0f readings alike.", w.pressure(w.rs[first].RawPa), w.day(f.At), w.day(last), f.Evidence["readings"])
	f.Check = w.in.In.Text("Set aside: it moves again.")
}

func (w *walk) tellNoDrop(f *Finding, i int) {
	f.Evidence = map[string]float64{"pa": w.rs[i].RawPa, "before_pa_design": w.in.BeforeSwapPa, "clean_pa_design": w.clean}
	f.Text = w.in.In.Text("Changed on %s, yet reads %s; before it %s.", w.day(w.in.Start), w.pressure(w.rs[i].RawPa), w.pressure(w.asRead(i, math.Log(w.in.BeforeSwapPa))))
	f.Check = w.in.In.Text("Was it this bank that was changed? If not, undo the change-out; if so, check the gauge.")
}

func (w *walk) tellCleanOff(f *Finding, i int) {
	was := w.asRead(i, math.Log(w.clean))
	f.Evidence = map[string]float64{"pa": w.rs[i].RawPa, "expected_pa": was}
	f.Text = w.in.In.Text("Reads %s clean; by the item's data it would be %s.", w.pressure(w.rs[i].RawPa), w.pressure(was))
	if w.in.PrevCleanPa > 0 {
		f.Text = w.in.In.Text("Reads %s clean; the last set began at %s.", w.pressure(w.rs[i].RawPa), w.pressure(was))
	}
	f.Check = w.in.In.Text("Check the filter type, the airflow and the gauge's zero.")
	if w.rs[i].RawPa < was {
		f.Check = w.in.In.Text("Look for gaps and missing filters; check filter type, airflow and the gauge's zero.")
	}
}

func (w *walk) tellZero(f *Finding, z ZeroCheck) {
	f.Evidence = map[string]float64{"offset_pa": z.OffsetPa, "allowed_pa": w.zeroBound()}
	f.Text = w.in.In.Text("The gauge showed %s on %s where it should show nothing.", w.pressure(z.OffsetPa), w.day(z.At))
	f.Check = w.in.In.Text("Set its zero, then say `zero ok`. Until then readings are off by as much.")
}

package phrase

// takeHour reads a bare number after the day of a booking as its hour: "14 Dec 9",
// "sat 9", "el sábado a las 9". A small hour is one of the afternoon.
func (g *group) takeHour() {
	for i, m := range g.marks {
		hour, minute, ok := bareHour(m)
		if !ok || i == 0 {
			continue
		}
		j := i - 1
		said := g.marks[j].is(cAt) || g.marks[j].punct("@") // "mañana cambio bolsas a las 9"
		if said || g.marks[j].punct(",") {
			j--
		}
		day := said && g.timed || j >= 0 && g.marks[j].kind == mWhen && g.marks[j].when.day != dayNone && !g.marks[j].when.clock
		if j >= 0 && (!day || !g.timed) {
			var w when
			if w, day = loneDay(g.marks[j].text); day {
				g.marks[j].kind, g.marks[j].when = mWhen, w
			}
		}
		if !day || g.timed && g.moment.clock {
			continue
		}
		m.kind, m.when = mWhen, when{clock: true, hour: workHour(hour), min: minute}
		g.moment, g.timed = momentOf(g.marks)
		g.cues, g.kinds = gather(g.marks)
		g.line.sum()
		return
	}
}

// bareHour reads a number without a unit as a time of day: 9, 930, 0930, 9-11.
func bareHour(m *mark) (hour, minute int, ok bool) {
	q := m.q
	if m.kind != mNum || q.unit.kind != uNone || q.sign != unsigned || q.piece || q.pieceStage || q.first.decimals > 0 || q.isRange && q.second.value > 24 {
		return 0, 0, false
	}
	hour = int(min(q.first.value, 10000))
	if n := len(q.first.digits); n == 3 || n == 4 {
		hour, minute = hour/100, hour%100
	}
	return hour, minute, hour < 24 && minute < 60
}

// strayNumber reports whether a number right after the day of a booking is none of
// its time.
func (g *group) strayNumber() bool {
	for i, m := range g.marks {
		if i > 0 && m.kind == mNum && g.marks[i-1].kind == mWhen && g.marks[i-1].when.day != dayNone && m.q.unit.kind == uNone && !m.q.piece && !m.q.pieceStage {
			return true
		}
	}
	return false
}

// strayEdits take such numbers out of the message.
func (g *group) strayEdits() []edit {
	var out []edit
	for i, m := range g.marks {
		if i > 0 && m.kind == mNum && g.marks[i-1].kind == mWhen && m.q.unit.kind == uNone && !m.q.piece && !m.q.pieceStage {
			out = append(out, edit{m.from, m.to, ""})
		}
	}
	return out
}

// loneDay reads a short name of a day that is an ordinary word elsewhere: "sat",
// "Sa", "do".
func loneDay(w string) (when, bool) {
	d, ok := shortDays[w]
	return when{day: dayWeekday, n: d}, ok
}

var shortDays = map[string]int{
	"sat": 6, "sun": 0, "wed": 3, "mo": 1, "di": 2, "mi": 3, "do": 4, "fr": 5, "sa": 6, "so": 0, "lun": 1, "mar": 2, "mie": 3, "jue": 4, "vie": 5, "sab": 6, "dom": 0,
}

package phrase

import (
	"strings"
	"time"
)

// dayKind says how a day was named.
type dayKind uint8

const (
	dayNone    dayKind = iota
	dayOffset          // today, yesterday, tomorrow: n days from today
	dayWeekday         // Mon
	dayDate            // 7 Mar, 7 Mar 2026
	dayWeek            // wk 32
	daySpan            // in 4 days, 2 hours ago: n × unit from now
	dayWeeks           // next week
)

// when is a day, a time of day, or both, as typed; the site's zone makes an
// instant of it.
type when struct {
	day       dayKind
	n         int // offset, weekday, week or span
	unit      time.Duration
	year      int // dayDate; 0 = not said
	month     time.Month
	date      int
	last      bool // "last Mon"
	clock     bool
	hour, min int
	slash     bool // 7/3/2026: day first, but month first in the US
	bad       bool // 31 Feb
	vague     bool // "this morning": the clock is a guess
	future    bool // tomorrow, next, in 4 days
	from, to  int  // bytes, for taking it out again
}

// time reads a date or time of day at the cursor.
func (k *marker) time() bool {
	for _, read := range [...]func(int) (when, int){k.isoDate, k.dottedDate, k.slashDate, k.shortDate, k.monthDate, k.clock, k.weekNo, k.dayWords, k.weekday} {
		w, next := read(k.i)
		if next <= k.i {
			continue
		}
		w.from, w.to = k.toks[k.i].from, k.toks[next-1].to
		k.put(mark{kind: mWhen, when: w}, next)
		return true
	}
	return false
}

// whole gives the value of an integer token within bounds.
func (k *marker) whole(i, lo, hi int) (int, bool) {
	t := k.tok(i)
	if t.kind != tNumber || t.num.decimals > 0 || t.num.value < float64(lo) || t.num.value > float64(hi) {
		return 0, false
	}
	return int(t.num.value), true
}

func (k *marker) isWord(i int, words ...string) bool {
	t := k.tok(i)
	if t.kind != tWord && t.kind != tUnit {
		return false
	}
	for _, w := range words {
		if t.text == w {
			return true
		}
	}
	return false
}

// clockAt reports whether a time of day starts at i.
func (k *marker) clockAt(i int) bool { _, n := k.clock(i); return n > i }

// clock reads 7am, 7:30 pm, 14:30, 0730, 14 Uhr, 14.30 Uhr, noon.
func (k *marker) clock(i int) (when, int) {
	if k.isWord(i, "noon", "midday", "mittag", "mediodia") {
		return when{clock: true, hour: 12}, i + 1
	}
	if k.isWord(i, "midnight", "mitternacht", "medianoche") {
		return when{clock: true}, i + 1
	}
	if k.isWord(i, "half") && k.isWord(i+1, "past") {
		if h, ok := k.whole(i+2, 1, 12); ok && k.tok(i+3).kind != tUnit {
			if k.isWord(i+3, "am", "pm") {
				return when{clock: true, hour: noonOf(h, k.tok(i+3).text), min: 30}, i + 4
			}
			return when{clock: true, hour: h, min: 30}, i + 3
		}
	}
	t := k.tok(i)
	if t.kind != tNumber || t.num.letterO && len(t.num.digits) != 4 {
		return when{}, i
	}
	if h, m, ok := fourDigits(t.num); ok {
		said := k.isWord(i+1, "h", "hrs", "hr", "hours", "uhr")
		if said {
			return when{clock: true, hour: h, min: m}, i + 2
		}
		prior := k.isWord(i-1, "at", "um", "since", "from", "las", "around") || k.tok(i-1).sign("@")
		if k.tok(i+1).kind != tUnit && (t.num.digits[0] == '0' || prior) {
			return when{clock: true, hour: h, min: m}, i + 1
		}
		return when{}, i
	}
	if h, m, ok := dotted(t.num); ok { // 14.30 Uhr, 7.30am
		switch {
		case k.isWord(i+1, "am", "pm") && h <= 12:
			return when{clock: true, hour: noonOf(h, k.tok(i+1).text), min: m}, i + 2
		case k.isWord(i+1, "uhr", "hrs", "h"):
			return when{clock: true, hour: h, min: m}, i + 2
		}
		return when{}, i
	}
	h, ok := k.whole(i, 0, 24)
	if !ok {
		return when{}, i
	}
	if half := k.halfOfDay(i + 1); half != "" && h >= 1 && h <= 12 && k.isWord(i-1, "at", "um", "las") { // "at 9 this morning"
		return when{clock: true, hour: noonOf(h, half)}, i + 1
	}
	if k.afterDay() && k.tok(i+1).kind != tUnit && !k.tok(i+1).sign(":") && k.spanUnit(i+1) == 0 { // "anteayer a las 9"
		return when{clock: true, hour: workHour(h)}, i + 1
	}
	next, m := i+1, 0
	if k.tok(i+1).sign(":") && k.tok(i+1).glued && k.tok(i+2).glued && len(k.tok(i+2).num.digits) == 2 {
		if mm, ok := k.whole(i+2, 0, 59); ok {
			m, next = mm, i+3
			if k.tok(next).sign(":") && k.tok(next+1).glued && k.tok(next+1).kind == tNumber {
				next += 2 // seconds
			}
		}
	}
	switch {
	case k.isWord(next, "am", "pm") && h >= 1 && h <= 12:
		return when{clock: true, hour: noonOf(h, k.tok(next).text), min: m}, next + 1
	case next > i+1 && h < 24:
		if k.isWord(next, "uhr", "hrs", "h") {
			next++
		}
		return when{clock: true, hour: h, min: m}, next
	case k.isWord(next, "uhr", "oclock") && h < 24:
		if mm, ok := k.whole(next+1, 0, 59); ok && len(k.tok(next+1).num.digits) == 2 && k.tok(next+2).kind != tUnit {
			return when{clock: true, hour: h, min: mm}, next + 2
		}
		return when{clock: true, hour: h}, next + 1
	}
	return when{}, i
}

// afterDay reports whether "at" and a day without a time stand right before the cursor.
func (k *marker) afterDay() bool {
	n := len(k.out)
	return n > 1 && k.out[n-1].is(cAt) && k.out[n-2].kind == mWhen && k.out[n-2].when.day != dayNone && k.out[n-2].when.day != daySpan && !k.out[n-2].when.clock
}

// workHour takes a small hour for one of the afternoon.
func workHour(h int) int {
	if h >= 1 && h <= 5 {
		return h + 12
	}
	return h % 24
}

// halfOfDay gives am or pm for the part of a day named at i.
func (k *marker) halfOfDay(i int) string {
	if !k.isWord(i, "this", "yesterday", "heute", "gestern", "esta") {
		return ""
	}
	switch {
	case k.isWord(i+1, "morning", "am", "morgen", "fruh", "manana"):
		return "am"
	case k.isWord(i+1, "afternoon", "evening", "pm", "nachmittag", "abend", "tarde"):
		return "pm"
	}
	return ""
}

func noonOf(h int, half string) int {
	h %= 12
	if half == "pm" {
		h += 12
	}
	return h
}

func fourDigits(n number) (h, m int, ok bool) {
	if n.decimals > 0 || len(n.digits) != 4 {
		return 0, 0, false
	}
	v := int(n.value)
	return v / 100, v % 100, v/100 < 24 && v%100 < 60
}

func dotted(n number) (h, m int, ok bool) {
	whole, frac, cut := strings.Cut(n.digits, ".")
	if !cut || n.decimals != 2 || len(whole) < 1 || len(whole) > 2 || len(frac) != 2 {
		return 0, 0, false
	}
	h, m = int(n.value), int(frac[0]-'0')*10+int(frac[1]-'0')
	return h, m, h < 24 && m < 60
}

// isoDate reads 2026-03-07, and the time after a letter T.
func (k *marker) isoDate(i int) (when, int) {
	y, ok1 := k.whole(i, 2000, 2199)
	m, ok2 := k.whole(i+2, 1, 12)
	d, ok3 := k.whole(i+4, 1, 31)
	if !ok1 || !ok2 || !ok3 || !k.tok(i+1).sign("-") || !k.tok(i+3).sign("-") || !k.tok(i+4).glued {
		return when{}, i
	}
	return dated(y, time.Month(m), d, i+5)
}

// dated makes a date, marking one that the calendar does not have.
func dated(y int, m time.Month, d, next int) (when, int) {
	leap := y
	if y == 0 {
		leap = 2024
	}
	bad := time.Date(leap, m, d, 0, 0, 0, 0, time.UTC).Month() != m
	return when{day: dayDate, year: y, month: m, date: d, bad: bad}, next
}

// dottedDate reads 07.03.2026, 7.3.26 and 7.3.: the lexer sees "7" "." "3.2026".
func (k *marker) dottedDate(i int) (when, int) {
	d, ok := k.whole(i, 1, 31)
	if ok && k.tok(i+1).sign(".") && k.tok(i+1).glued && k.tok(i+2).glued && k.tok(i+2).kind == tNumber {
		mon, year, cut := strings.Cut(k.tok(i+2).num.digits, ".")
		m, y := small(mon), small(year)
		if cut && (len(year) == 4 || len(year) == 2) && m >= 1 && m <= 12 {
			return dated(century(y), time.Month(m), d, i+3)
		}
	}
	return when{}, i
}

// shortDate reads a date without its year, "14.12." and "14/12", where a day is
// talked of: after a word for a booking or a deferral, or for a day.
func (k *marker) shortDate(i int) (when, int) {
	ofDay := k.isWord(i-1, "am", "bis", "vom", "zum", "seit", "ab", "den", "el", "hasta", "until", "till", "for") || hasCue(k.out[max(0, len(k.out)-8):], cBook, cDefer, cDoing)
	if day, month, cut := strings.Cut(k.tok(i).num.digits, "."); cut && k.tok(i).num.decimals == len(month) {
		d, m := small(day), small(month)
		dot := k.tok(i+1).sign(".") && k.tok(i+1).glued
		next := i + 1 + btoi(dot)
		after := k.tok(i - 1) // "132 23.11.": what a reading was taken on
		ofDay = ofDay || dot && len(day) == 2 && len(month) == 2 && (after.kind == tUnit || after.kind == tNumber && after.num.decimals == 0 && after.num.value >= 40)
		ofDay = ofDay && dot || len(month) == 2 && k.isWord(i-1, "am", "bis", "vom", "zum") || dot && k.saysHour(next)
		if ofDay && d >= 1 && d <= 31 && m >= 1 && m <= 12 && k.tok(i+1).kind != tUnit && len(month) <= 2 && k.tok(i).kind == tNumber {
			return dated(0, time.Month(m), d, next)
		}
		return when{}, i
	}
	a, ok1 := k.whole(i, 1, 31)
	b, ok2 := k.whole(i+2, 1, 31)
	ofDay = ofDay || k.tok(i-1).kind == tUnit && k.saysHour(i+3) // "134 pa 24/11 14:30"
	if !ofDay || !ok1 || !ok2 || !k.tok(i+1).sign("/") || !k.tok(i+2).glued || k.tok(i+3).kind == tUnit || k.tok(i+3).sign("/") {
		return when{}, i
	}
	if b > 12 {
		a, b = b, a
	}
	if b > 12 {
		return when{}, i
	}
	w, next := dated(0, time.Month(b), a, i+3)
	w.slash = a <= 12
	return w, next
}

func small(s string) int {
	if s == "" || len(s) > 4 {
		return 0
	}
	n := 0
	for _, c := range []byte(s) {
		n = n*10 + int(c-'0')
	}
	return n
}

func century(y int) int {
	if y < 100 {
		return 2000 + y
	}
	return y
}

// slashDate reads 13/3/2026 and 3/13/2026. Where both readings exist the day
// comes first, except in the US, which is known only when the place is.
func (k *marker) slashDate(i int) (when, int) {
	a, ok1 := k.whole(i, 1, 31)
	b, ok2 := k.whole(i+2, 1, 31)
	y, ok3 := k.whole(i+4, 0, 2199)
	if !ok1 || !ok2 || !ok3 || !k.tok(i+1).sign("/") || !k.tok(i+3).sign("/") || !k.tok(i+4).glued {
		return when{}, i
	}
	if n := len(k.tok(i + 4).num.digits); n != 2 && n != 4 || n == 4 && y < 2000 {
		return when{}, i
	}
	if b > 12 {
		a, b = b, a
	}
	if b > 12 {
		return when{}, i
	}
	w, next := dated(century(y), time.Month(b), a, i+5)
	w.slash = a <= 12
	return w, next
}

var months = func() map[string]time.Month {
	out := map[string]time.Month{}
	for i, names := range [...]string{
		"jan january januar enero ene", "feb february februar febrero", "mar march marz maerz marzo", "apr april abril abr",
		"may mai mayo", "jun june juni junio", "jul july juli julio", "aug august agosto ago", "sep sept september septiembre",
		"oct october okt oktober octubre", "nov november noviembre", "dec december dez dezember diciembre dic",
	} {
		for _, n := range strings.Fields(names) {
			out[n] = time.Month(i + 1)
		}
	}
	return out
}()

// monthDate reads "7 Mar", "7th of March", "7. März", "7 de marzo", "Mar 7", each
// with or without a year.
func (k *marker) monthDate(i int) (when, int) {
	var d, next int
	var m time.Month
	if day, ok := k.whole(i, 1, 31); ok {
		j := i + 1
		if k.isWord(j, "st", "nd", "rd", "th") || k.tok(j).sign(".") {
			j++
		}
		if k.isWord(j, "of", "de") {
			j++
		}
		m, d, next = months[k.tok(j).text], day, j+1
	} else if mon := months[k.tok(i).text]; mon != 0 && k.tok(i).kind == tWord {
		j := i + 1
		day, ok := k.whole(j, 1, 31)
		if !ok || k.tok(j+1).kind == tUnit || k.tok(j+1).sign(":") {
			return when{}, i
		}
		m, d, next = mon, day, j+1
		if k.isWord(next, "st", "nd", "rd", "th") {
			next++
		}
	}
	if m == 0 {
		return when{}, i
	}
	if y, ok := k.whole(next, 2000, 2199); ok && k.tok(next+1).kind != tUnit && len(k.tok(next).num.digits) == 4 {
		return dated(y, m, d, next+1)
	}
	if k.tok(next).sign(",") {
		if y, ok := k.whole(next+1, 2000, 2199); ok && k.tok(next+2).kind != tUnit {
			return dated(y, m, d, next+2)
		}
	}
	return dated(0, m, d, next)
}

// weekNo reads "wk 32" and "KW32".
func (k *marker) weekNo(i int) (when, int) {
	if !k.isWord(i, "wk", "week", "kw", "woche", "semana", "weeks") && !(k.isWord(i, "w") && k.tok(i+1).glued) {
		return when{}, i
	}
	j := i + 1
	if k.isWord(j, "no", "nr", "number") {
		j++
	}
	n, ok := k.whole(j, 1, 53)
	if !ok || k.tok(j+1).kind == tUnit {
		return when{}, i
	}
	return when{day: dayWeek, n: n, future: true}, j + 1
}

// dayWords reads today, yesterday, tomorrow and the parts of the day.
func (k *marker) dayWords(i int) (when, int) {
	at := func(offset, hour int) when {
		return when{day: dayOffset, n: offset, clock: hour >= 0, hour: max(hour, 0), vague: hour >= 0, future: offset > 0}
	}
	switch {
	case k.isWord(i, "this") && k.isWord(i+1, "morning", "am"), k.isWord(i, "heute") && k.isWord(i+1, "morgen", "fruh"), k.isWord(i, "esta") && k.isWord(i+1, "manana"):
		return at(0, 8), i + 2
	case k.isWord(i, "this") && k.isWord(i+1, "afternoon", "arvo", "pm"), k.isWord(i, "esta") && k.isWord(i+1, "tarde"):
		return at(0, 14), i + 2
	case k.isWord(i, "last") && k.isWord(i+1, "night"):
		return at(-1, 22), i + 2
	case k.isWord(i, "tonight"):
		return at(0, 20), i + 1
	case k.isWord(i, "next") && k.isWord(i+1, "week", "wk"), k.isWord(i, "nachste") && k.isWord(i+1, "woche"):
		return when{day: dayWeeks, n: 1, future: true}, i + 2
	case k.isWord(i, "this") && k.isWord(i+1, "week", "wk"), k.isWord(i, "diese") && k.isWord(i+1, "woche"), k.isWord(i, "esta") && k.isWord(i+1, "semana"):
		return when{day: dayWeeks, n: 0}, i + 2
	case k.isWord(i, "today", "tdy", "todays", "heute", "hoy", "2day"):
		return at(0, -1), i + 1
	case k.isWord(i, "day") && k.isWord(i+1, "before") && k.isWord(i+2, "yesterday"), k.isWord(i, "antes") && k.isWord(i+1, "de") && k.isWord(i+2, "ayer"):
		return at(-2, -1), i + 3
	case k.isWord(i, "vorgestern", "anteayer", "antier"):
		return at(-2, -1), i + 1
	case k.isWord(i, "yesterday", "yday", "yest", "ystdy", "gestern", "ayer"):
		if k.isWord(i+1, "morning") {
			return at(-1, 8), i + 2
		}
		if k.isWord(i+1, "afternoon") {
			return at(-1, 14), i + 2
		}
		return at(-1, -1), i + 1
	case k.isWord(i, "tomorrow", "tmrw", "tmr", "tmw", "tomoz", "tomo", "tomorow", "tommorow", "tommorrow", "2moro", "morgen", "manana", "tomorrows"):
		if k.isWord(i+1, "morning", "am", "fruh") {
			return at(1, 8), i + 2
		}
		if k.isWord(i+1, "afternoon", "pm") {
			return at(1, 14), i + 2
		}
		return at(1, -1), i + 1
	case k.isWord(i, "ubermorgen"):
		return at(2, -1), i + 1
	case k.isWord(i, "hace") && k.spanUnit(i+2) != 0:
		if n, ok := k.whole(i+1, 1, 400); ok {
			return spanOf(-n, k.tok(i+2).text), i + 3
		}
	case k.isWord(i, "vor") && k.spanUnit(i+2) != 0:
		if n, ok := k.whole(i+1, 1, 400); ok {
			return spanOf(-n, k.tok(i+2).text), i + 3
		}
	case k.isWord(i, "an") && k.isWord(i+1, "hour") && k.isWord(i+2, "ago"):
		return spanOf(-1, "hour"), i + 3
	case k.isWord(i, "in") && k.spanUnit(i+2) != 0:
		if n, ok := k.whole(i+1, 1, 400); ok {
			w := spanOf(n, k.tok(i+2).text)
			w.future = true
			return w, i + 3
		}
	}
	return when{}, i
}

var weekdays = func() map[string]time.Weekday {
	out := map[string]time.Weekday{}
	for i, names := range [...]string{
		"sunday sonntag domingo sun", "monday montag lunes mon", "tuesday dienstag martes tue tues", "wednesday mittwoch miercoles wed weds",
		"thursday donnerstag jueves thu thur thurs", "friday freitag viernes fri", "saturday samstag sabado sat",
	} {
		for _, n := range strings.Fields(names) {
			out[n] = time.Weekday(i)
		}
	}
	return out
}()

// weekday reads "Mon", "last Monday", "next Fri". "sun", "sat" and "wed" are
// also ordinary words and need company.
func (k *marker) weekday(i int) (when, int) {
	j, last, next := i, false, false
	switch {
	case k.isWord(i, "last", "letzten", "letzter", "pasado"):
		j, last = i+1, true
	case k.isWord(i, "next", "nachsten", "proximo", "this", "on", "coming", "am", "el"):
		j, next = i+1, k.isWord(i, "next", "coming", "nachsten", "proximo")
	}
	if k.tok(j).kind != tWord {
		return when{}, i
	}
	d, ok := weekdays[k.tok(j).text]
	if n, short := shortDays[k.tok(j).text]; short && !ok && k.saysHour(j+1) { // "Sa 9 Uhr"
		d, ok = time.Weekday(n), true
	}
	if !ok {
		return when{}, i
	}
	if k.isWord(j, "sun", "sat", "wed") && j == i && !k.clockAt(j+1) {
		return when{}, i
	}
	w := when{day: dayWeekday, n: int(d), last: last, future: next}
	switch {
	case k.isWord(j+1, "pasado", "pasada"):
		w.last, w.future, j = true, false, j+1
	case k.isWord(j+1, "morning"):
		w.clock, w.hour, w.vague, j = true, 8, true, j+1
	case k.isWord(j+1, "afternoon"):
		w.clock, w.hour, w.vague, j = true, 14, true, j+1
	}
	return w, j + 1
}

// saysHour reports whether an hour in so many words stands at i, perhaps after a
// point or "um": "9 Uhr", "9:30".
func (k *marker) saysHour(i int) bool {
	if k.tok(i).sign(".", ",") || k.isWord(i, "um") {
		i++
	}
	_, n := k.clock(i)
	return n > i && (k.isWord(n-1, "uhr", "h") || k.tok(i+1).sign(":"))
}

var spans = map[string]time.Duration{
	"min": time.Minute, "mins": time.Minute, "minute": time.Minute, "minutes": time.Minute, "minuten": time.Minute, "minutos": time.Minute,
	"h": time.Hour, "hr": time.Hour, "hrs": time.Hour, "hour": time.Hour, "hours": time.Hour, "stunde": time.Hour, "stunden": time.Hour, "hora": time.Hour, "horas": time.Hour,
	"d": 24 * time.Hour, "day": 24 * time.Hour, "days": 24 * time.Hour, "tag": 24 * time.Hour, "tage": 24 * time.Hour, "tagen": 24 * time.Hour, "dia": 24 * time.Hour, "dias": 24 * time.Hour,
	"wk": 7 * 24 * time.Hour, "wks": 7 * 24 * time.Hour, "week": 7 * 24 * time.Hour, "weeks": 7 * 24 * time.Hour, "woche": 7 * 24 * time.Hour, "wochen": 7 * 24 * time.Hour, "semana": 7 * 24 * time.Hour, "semanas": 7 * 24 * time.Hour,
	"month": 30 * 24 * time.Hour, "months": 30 * 24 * time.Hour, "monat": 30 * 24 * time.Hour, "monate": 30 * 24 * time.Hour, "monaten": 30 * 24 * time.Hour, "mes": 30 * 24 * time.Hour, "meses": 30 * 24 * time.Hour,
	"year": 365 * 24 * time.Hour, "years": 365 * 24 * time.Hour, "yrs": 365 * 24 * time.Hour, "jahre": 365 * 24 * time.Hour,
}

// spanUnit gives the length of the unit of time at i, or 0.
func (k *marker) spanUnit(i int) time.Duration {
	if t := k.tok(i); t.kind == tWord {
		return spans[t.text]
	}
	return 0
}

func spanOf(n int, unit string) when {
	return when{day: daySpan, n: n, unit: spans[unit]}
}

// span reads "4 days" and "2 hours ago" after a number that ends before next.
func (k *marker) span(n number, next int) bool {
	if k.spanUnit(next) == 0 || n.decimals > 0 || n.value > 5000 {
		return false
	}
	w := spanOf(int(n.value), k.tok(next).text)
	w.from = k.toks[k.i].from
	if k.isWord(next+1, "ago", "back", "earlier") {
		w.n, w.to = -w.n, k.toks[next+1].to
		k.put(mark{kind: mWhen, when: w}, next+2)
		return true
	}
	w.to = k.toks[next].to
	k.put(mark{kind: mSpan, when: w}, next+1)
	return true
}

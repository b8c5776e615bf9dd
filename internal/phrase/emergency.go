package phrase

import (
	"slices"
	"strings"
)

// danger is the sort of emergency a message reports.
type danger uint8

const (
	dangerNone   danger = iota
	dangerPerson        // somebody is hurt, or gas
	dangerFire          // fire, smoke or a smell of burning
)

// emergency finds what cannot wait: fire or smoke of the plant or building, gas,
// somebody hurt. What is of the outdoors, of a device, or only talked of, is left
// to the rest of the grammar; words that are no fire are noted as idle.
func (p *parser) emergency() danger {
	if !slices.ContainsFunc(p.toks, func(t token) bool { return t.kind == tWord && perils[t.text] != 0 }) {
		return dangerNone
	}
	h := p.hear()
	for i, w := range h {
		k := perils[w.word]
		switch {
		case k == 0:
		case p.hurt(h, i, k), k&(perilHelp|perilStart) != 0 && p.distress(h, i), k&perilGas != 0 && h.gas(i):
			return dangerPerson
		case w.word == "hot" && h.smellsHot(i):
			return dangerFire
		case k&(perilFire|perilSmoke|perilBurnt) == 0:
		case h.idle(i):
			p.idle = append(p.idle, w.at)
		case h.burns(i, k):
			return dangerFire
		}
	}
	return dangerNone
}

// smellsHot reports "hot smell", "smells hot": what is about to burn.
func (h hearing) smellsHot(i int) bool {
	next, prev := h.ahead(i, 1), h.back(i, 1)
	return (next.any(smellWords) || prev.ends("smells", "smelling", "smelled", "smelt", "riecht", "huele")) && !h.denied(i, 2)
}

// gas reports a smell, leak or alarm of gas.
func (h hearing) gas(i int) bool {
	near := h.around(i, 4)
	sure := h[i].word != "gas" && h[i].word != "co" && h[i].word != "monoxide"
	return (sure || near.any(smellWords) || near.any(leakWords)) && !h.denied(i, 2) && !near.any(drillWords)
}

// hurt reports that word i tells of somebody hurt, fallen or shut in.
func (p *parser) hurt(h hearing, i int, k peril) bool {
	prev, next, near := h.back(i, 3), h.ahead(i, 5), h.around(i, 5)
	ofPlant := slices.ContainsFunc(prev, func(w heard) bool { return plantWords[w.word] && !w.ahu })
	if near.any(drillWords) {
		return false
	}
	switch w := h[i].word; {
	case w == "emergency":
		return next.starts("at", "in", "on", "here", "!") || len(next) == 0
	case w == "fall":
		return (prev.ends("a") || prev.ends("bad", "nasty")) && prev.any(fallVerbs) && !next.starts("in", "of")
	case w == "breathing":
		return prev.ends("not", "isnt", "stopped")
	case w == "aid":
		return prev.ends("first") && h.back(i, 4).any(aidVerbs)
	case w == "attack":
		return prev.ends("heart")
	case w == "down":
		return prev.ends("man") && len(h.ahead(i, 1)) == 0 || prev.ends("man") && !next.starts("to")
	case k&(perilHarm|perilFall) != 0 && selfHarms[w] && prev.any(selfWords) && !near.any(plantWords) && !h.denied(i, 3):
		return true
	case k&perilInjury != 0 && !h.denied(i, 4) && !h.ahead(i, 2).any(notSoreWords) && !prev.ends("by"):
		return true
	case k&perilHarm != 0 && !h.denied(i, 2) && p.bodyPart(near), w == "trapped" && p.bodyPart(near):
		return true
	case k&perilFall != 0 && !ofPlant && !prev.any(weatherWords) && !h.denied(i, 2):
		return near.any(heightWords) || p.person(prev) && !next.starts("behind", "out", "ill", "asleep", "short", "to", "back")
	case k&perilShock != 0 && !near.any(jokeWords) && !h.denied(i, 3):
		return prev.any(shockGivers) || next.starts("electrica") || next.starts("from", "by", "off", "vom", "von") && (next.any(plantWords) || slices.ContainsFunc(next, func(w heard) bool { return w.ahu }))
	case k&(perilDown|perilShut) != 0 && p.person(h.back(i, 2)) && !ofPlant && !h.ahead(i, 1).any(plantWords) && !h.denied(i, 2):
		return k&perilDown != 0 || next.starts("in", "inside") || next.starts("out") && h[i].word == "passed"
	}
	return false
}

// fallVerbs go with a fall that somebody had, aidVerbs with first aid.
var (
	fallVerbs = set("had has took taken")
	aidVerbs  = set("need needs needed give giving get getting gave")
)

// bodyPart reports whether words name a part of somebody's body, and not the hand of
// a gauge: "my hand", "la mano", "fingers".
func (p *parser) bodyPart(h hearing) bool {
	for i, w := range h {
		if !bodyWords[w.word] || h[i+1:].starts("guard", "guards", "safe", "tight") {
			continue
		}
		if digits[w.word] || i > 0 && (whoseWords[h[i-1].word] || p.crewName(strings.TrimSuffix(h[i-1].word, "s"))) {
			return true
		}
	}
	return false
}

// person reports whether one of the words means a human being: a pronoun, a
// trade, or one of the crew by name.
func (p *parser) person(h hearing) bool {
	return slices.ContainsFunc(h, func(w heard) bool { return personWords[w.word] || p.crewName(w.word) })
}

func (p *parser) crewName(word string) bool {
	for _, id := range p.sites() {
		s, _ := p.reg.Site(id)
		for _, n := range slices.Concat(s.Crew, s.Supervisors) {
			if fold(n) == word {
				return true
			}
		}
	}
	return false
}

// idle reports whether a word for fire or smoke is denied, over, or only part of
// the name of a thing, a drill or a habit.
func (h hearing) idle(i int) bool {
	w, prev, next := h[i].word, h.back(i, 2), h.ahead(i, 3)
	smoke := perils[w]&perilSmoke != 0
	switch {
	case h.denied(i, 2), next.starts("cleared", "lifted", "verzogen"), next.starts("has", "is", "ist", "se") && next[1:].ahead1(goneWords):
		return true
	case smoke && prev.ends("a") && len(prev) > 1 && breakWords[prev[0].word], smoke && prev.ends("stop"):
		return true
	case w == "fire" && (next.starts("it") && next[1:].starts("up") || next.starts("away", "him", "them", "me")), w == "blew" && !next.starts("up"):
		return true
	case (w == "burning" || w == "burns" || w == "burnt" || w == "burned") && h.ahead(i, 1).any(wasteWords):
		return true
	case w == "brand": // "brand new"
		return len(h.back(i, 1)) > 0 && !prev.ends("ein", "einen", "der", "den", "ist") || !next.starts("in", "im", "an", "am", "bei")
	}
	return h.device(i) || h.around(i, 6).any(drillWords) && !h.fromPlant(i)
}

// ahead1 reports whether the first or second word is one of those given.
func (h hearing) ahead1(of map[string]bool) bool { return h[:min(2, len(h))].any(of) }

// device reports whether word i is part of the name of a thing: "fire damper",
// "detector de humo". An alarm that sounds is more than a thing.
func (h hearing) device(i int) bool {
	prev, next := h.back(i, 2), h.ahead(i, 6)
	if next.starts("-") {
		next = next[1:]
	}
	sounds := next.any(soundWords) && !next.any(drillWords)
	if prev.ends("de") && len(prev) > 1 && (devices[prev[0].word] || prev[0].word == "alarma") {
		return !sounds
	}
	if len(next) == 0 || !devices[next[0].word] || next[0].ahu || h[i].word == "blew" {
		return false
	}
	return !(sounds && next.starts("alarm", "alarms"))
}

// burns reports whether fire, smoke or a smell of burning at word i is one of the
// plant or the building.
func (h hearing) burns(i int, k peril) bool {
	w := h[i].word
	smelt := h.around(i, 5).any(smellWords) || strings.HasSuffix(w, "geruch") || strings.HasSuffix(w, "schmort")
	switch {
	case k&(perilFire|perilSmoke) == 0 && !smelt: // "motor burnt out" is a fault
		return false
	case h.wild(i) && !h.around(i, 4).any(componentWords), h.fromOutside(i):
		return false
	case h.fromPlant(i):
		return true
	case h.outdoors(i):
		return false
	}
	return smelt && k&perilBurnt != 0 || h.evident(i)
}

// wild reports whether the fire is one of the open country: "heath fire", "smoke
// from the fields", "wildfire smoke".
func (h hearing) wild(i int) bool {
	prev, next := h.back(i, 2), h.ahead(i, 4)
	switch {
	case h.around(i, 8).any(openFires), next.starts("forestal", "forestales"), next.starts("de") && len(next) > 2 && next[2].word == "forestales":
		return true
	case len(prev) > 0 && wildWords[prev[len(prev)-1].word], len(prev) > 1 && wildWords[prev[0].word] && perils[prev[1].word] != 0:
		return true
	}
	for _, w := range next {
		if w.stop() || w.ahu || plantWords[w.word] {
			return false
		}
		if wildWords[w.word] {
			return true
		}
	}
	return false
}

// fromOutside reports "smoke in AHU-3 from outside", "humo de fuera".
func (h hearing) fromOutside(i int) bool {
	next := h.ahead(i, 9)
	for j, w := range next {
		if !outside[w.word] && !wildWords[w.word] || j == 0 {
			continue
		}
		led := next[j-1].word
		if led == "the" && j > 1 {
			led = next[j-2].word
		}
		if led == "from" || led == "von" || led == "vom" || led == "de" || led == "del" {
			return !next[j+1:].starts("the") || !next[j:].nextToPlant()
		}
	}
	return false
}

// besideWords may lead to the plant: "outside the plant room".
var besideWords = set("outside outdoors nearby draussen aussen fuera afuera")

// nextToPlant reports "outside the plant room": that is at the plant.
func (h hearing) nextToPlant() bool {
	rest := h[1:]
	if rest.starts("the", "of") {
		rest = rest[1:]
	}
	return len(rest) > 0 && (rest[0].ahu || plantWords[rest[0].word])
}

// fromPlant reports whether the fire or smoke at word i is said to be of the
// plant: "smoke coming out of AHU-1", "AHU-2 on fire", "Motor brennt".
func (h hearing) fromPlant(i int) bool {
	led := false
	for _, w := range h.ahead(i, 7) {
		switch {
		case w.stop(), led && outside[w.word]:
			led = false
		case led && (w.ahu || w.bank || plantWords[w.word]):
			return true
		case sources[w.word]:
			led = true
		}
	}
	for _, w := range slices.Backward(h.back(i, 4)) {
		switch {
		case w.stop():
			return false
		case plantWords[w.word], w.ahu && (burnVerbs[h[i].word] || h[i-1].word == "on"):
			return true
		}
	}
	return false
}

// burnVerbs say of what stands before them that it burns.
var burnVerbs = set(`smoking smokes smokin burning burns brennt raucht qualmt arde ardiendo humea humeando sparking sparks arcing quemandose quemando smoldering smouldering exploded explodiert
	schmort exploto explotado ablaze alight`)

// outdoors reports whether the smoke is said to be outside, or to have been there
// for days, as that of a distant fire is.
func (h hearing) outdoors(i int) bool {
	near := h.around(i, 7)
	if near.any(lasting) {
		return true
	}
	j := slices.IndexFunc(near, func(w heard) bool { return outside[w.word] })
	return j >= 0 && !(besideWords[near[j].word] && near[j:].nextToPlant())
}

// alarmWords stand before the word for fire in the name of an alarm.
var alarmWords = set("alarma")

// evident reports whether a word for fire or smoke, of which nothing says where
// it comes from, is one all the same: beside a place, or all there is to say.
func (h hearing) evident(i int) bool {
	near, prev := h.around(i, 6), h.back(i, 3)
	if near.any(plantWords) || near.any(roomWords) || slices.ContainsFunc(near, func(w heard) bool { return w.ahu || w.bank || w.site }) {
		return true
	}
	next := h.ahead(i, 1)
	if next.starts("alarm", "alarms", "brigade") || prev.any(alarmWords) || strings.HasPrefix(h[i].word, "feuerwehr") || h[i].word == "bomberos" {
		return true
	}
	if perils[h[i].word]&perilFire == 0 || perils[h[i].word]&perilBurnt != 0 {
		return false
	}
	return prev.any(thereWords) || prev.ends("on") || len(near) <= 3
}

// numbered reports whether the message holds numbers that could be readings.
func (p *parser) numbered() bool {
	return slices.ContainsFunc(p.lines, func(l line) bool { return l.hasKind(mNum) })
}

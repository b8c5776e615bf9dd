package phrase

import (
	"slices"
)

// distress reports that word i, with the words beside it, calls for help or tells
// of somebody in danger: "can't breathe", "call 999", "fan started with me inside".
func (p *parser) distress(h hearing, i int) bool {
	prev, next := h.back(i, 4), h.ahead(i, 5)
	w := h[i].word
	if w == "breathe" {
		return prev.any(unableWords)
	}
	if h.denied(i, 3) || h.around(i, 5).any(drillWords) {
		return false
	}
	switch w {
	case "mayday", "auxilio", "socorro", "ayudame", "ayudadme", "schwindlig", "schwindelig", "mareado", "mareada":
		return true
	case "sos":
		return len(h.around(i, 9)) <= 4
	case "help", "hilf", "helft":
		return next.starts("me", "us", "mir", "uns") && next[1:].only(pleaWords)
	case "call", "called", "dial", "ring", "phone", "ruf", "ruft", "rufen", "wahlt", "llama", "llamad", "llamen", "llame":
		return p.emergencyNumber(next)
	case "chest":
		return next.starts("pain", "pains", "hurts", "tight", "tightness") || prev.any(painWords)
	case "breathing":
		return prev.ends("difficulty", "trouble", "problems", "difficulties")
	case "schlecht", "ubel":
		return prev.any(feelers) || next.any(feelers)
	case "corriente":
		return prev.ends("dio", "dado") && prev.any(set("me le nos"))
	case "hit":
		return next.starts("by") && (len(prev) == 0 || p.person(h.back(i, 2))) && next.any(hitters)
	case "broken", "broke":
		return len(prev) == 1 && len(h.back(i, 2)) == 1 && bodyWords[prev[0].word] && !next.any(plantWords) && !next.any(gaugeParts)
	case "uv":
		return prev.any(set("looked stared looking staring")) && prev.any(set("into in straight")) && (len(next) == 0 || next.any(uvThings)) || prev.any(set("exposed exposure"))
	case "trapped", "atrapado", "atrapada":
		return next.starts("in", "inside", "en", "dentro", "under", "behind") && (len(prev) == 0 || prev.ends("esta") && len(prev) == 1 || p.somebody(prev[len(prev)-1]))
	case "inside":
		return prev.ends("still") && len(prev) > 1 && p.somebody(prev[len(prev)-2]) && !h.back(i, 9).asks()
	case "floor", "ground", "boden", "suelo":
		j := slices.IndexFunc(prev, func(w heard) bool { return lyingWords[w.word] })
		return j >= 0 && p.anybody(h.back(i, 6)[:max(0, len(h.back(i, 6))-len(prev)+j)])
	case "hangt", "steckt":
		return next.any(set("fest")) && next.starts("in", "im") && len(prev) > 0 && p.somebody(prev[len(prev)-1])
	}
	return perils[w]&perilStart != 0 && p.startedOn(h, i)
}

// only reports whether every word is one of those given.
func (h hearing) only(of map[string]bool) bool {
	return !slices.ContainsFunc(h, func(w heard) bool { return !of[w.word] && !w.stop() })
}

// asks reports whether the words start as a question.
func (h hearing) asks() bool { return h.starts("is", "are", "was", "ist", "sind", "esta", "who") }

// emergencyNumber reports whether a number that calls an ambulance comes next,
// alone: "call 999", "ring 112 now".
func (p *parser) emergencyNumber(next hearing) bool {
	if next.starts("al", "den", "die") {
		next = next[1:]
	}
	if !next.starts("#") || next[0].ahu {
		return false
	}
	n := p.text[next[0].at:min(len(p.text), next[0].at+3)]
	return (n == "999" || n == "911" || n == "112") && (len(next) == 1 || !isUnit(next[1].word))
}

// somebody reports whether a word means a human being, or is one of no known
// meaning, as a name is.
func (p *parser) somebody(w heard) bool {
	if p.person(hearing{w}) {
		return true
	}
	_, stage := stageWords[w.word]
	return len(w.word) > 1 && w.word[0] >= 'a' && w.word[0] <= 'z' && !w.ahu && !w.bank && !w.site && !stage && len(phrases[w.word]) == 0 &&
		!plantWords[w.word] && !weatherWords[w.word] && !thingWords[w.word]
}

func (p *parser) anybody(h hearing) bool { return slices.ContainsFunc(h, p.somebody) }

// startedOn reports whether a fan or unit, started at word i, did so with people
// inside it or at work on it: "fan came on while I was in there".
func (p *parser) startedOn(h hearing, i int) bool {
	prev, next := h.back(i, 4), h.ahead(i, 12)
	j := slices.IndexFunc(next, func(w heard) bool { return meanwhileWords[w.word] })
	if j < 0 || next[j:].any(denyWords) {
		return false
	}
	rest := next[j:]
	if stop := slices.IndexFunc(rest, heard.stop); stop > 0 {
		rest = rest[:stop]
	}
	if next[:j].any(taskWords) || rest.any(set("home")) { // "started work on AHU-2 while …"
		return false
	}
	started := slices.Concat(prev, next[:j])
	plant := started.any(startedThings)
	if plant && rest[1:].any(workingWords) {
		return true
	}
	ofUnit := plant || prev.any(starters) || slices.ContainsFunc(started, func(w heard) bool { return w.ahu })
	return ofUnit && (rest.any(insidePeople) || p.person(rest)) && rest.within()
}

// within reports whether words say that somebody is in a unit: "inside", "in it".
func (h hearing) within() bool {
	for i, w := range h {
		if insideWords[w.word] {
			return !h[i+1:].any(roomWords)
		}
		if rest := h[i+1:]; (w.word == "in" || w.word == "im") && len(rest) > 0 {
			if rest.starts("the", "der", "dem") && len(rest) > 1 {
				rest = rest[1:]
			}
			if rest[0].ahu || rest.starts("it", "there", "unit", "plant", "duct", "casing", "fan", "anlage", "gerat", "kanal") {
				return true
			}
		}
	}
	return false
}

// Words by which a call for help is told from the talk of the day.
var (
	unableWords = set("cant cannot couldnt not hard hardly struggling barely unable difficult difficulty")
	pleaWords   = set("please pls now quick quickly im hurt stuck bitte schnell")
	painWords   = set("pain pains hurts tight pressure")
	feelers     = set("mir ihm ihr uns")
	uvThings    = set("lamp lamps light lights tube tubes bulb bulbs source")
	hitters     = set("door doors hatch panel fan blade blades pulley belt forklift truck van car vehicle ladder bag filter frame beam pipe tool falling something object load damper")
	gaugeParts  = set("damper actuator link linkage gauge lever valve needle")
	lyingWords  = set("lying liegt lies laying tirado tirada")
	thingWords  = set(`air dust dirt moisture heat condensate odour bird birds pigeon rat rats mouse cat leaf leaves cloth rag plastic paper tool tools screwdriver torch spanner screw debris rubbish label
		stuff box boxes sheet wire insulation lagging screen cover hose clip clips klappe antrieb stellantrieb aire polvo pajaro objeto fluff lint wet old new dirty mess bit bits piece pieces part parts nothing anything`)

	meanwhileWords = set("while whilst when as with wahrend als mit mientras cuando con conmigo")
	startedThings  = set("fan fans power unit plant machine motor strom anlage ventilator lufter gerat ventilador equipo maquina corriente energia it supply breaker isolator")
	starters       = set("someone somebody they he she bms it jemand er sie alguien")
	insidePeople   = set("i im me we us he she someone somebody people men ich mich wir uns er jemand leuten conmigo nosotros yo estaba estabamos alguien were was")
	insideWords    = set("inside drin drinnen dentro adentro")
	taskWords      = set("work job jobs round rounds reading readings task shift arbeit trabajo")
	workingWords   = set("working work arbeiten arbeitete arbeiteten gearbeitet arbeit trabajando trabajaba trabajabamos")
)

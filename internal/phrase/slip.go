package phrase

import "slices"

// slipTargets are the words for a change-out, a clean value and work on a running
// fan that are known with letters wrong.
var slipTargets = []string{
	"changed", "swapped", "replaced", "renewed", "changeout", "clean", "cleaned", "change", "replace", "remove", "running",
	"wechseln", "tauschen", "ausbauen", "laufendem", "gewechselt", "getauscht", "ausgetauscht", "sauber", "cambiar", "quitar", "cambiado", "cambiados", "cambiadas", "sustituido", "reemplazado", "limpio",
}

// noSlips are words of their own that are near one of those.
var noSlips = set(`remote removes remover ruining rubbing rushing rounding raining burning turning racing wechsel waschen quita quitado quite quits guitar replica
	chance chances charge charged charger charges changes changer channel hanged chained chased champed
	slapped snapped shipped skipped slipped stopped swiped strapped snipped scraped swamped swapper stripped sampled scrapped dropped
	reduced reviewed relaxed repeated replayed replied released relayed replicated removed received related rented rewired retained relocated repaced
	clear clears cleared clearer closed client clinic cleans cleaner cleaners clever cream clerk climb gleaned
	gewechsel getaucht cambiador cambiaron cambiando cambiamos cambian cambiare cambias limpia limpiar limpie saber`)

// slipped gives the word that w is with letters wrong: two in a word of six letters
// or more, one in a shorter one, the first letter right; or "".
func slipped(w string) string {
	if len(w) < 5 || len(w) > 14 || noSlips[w] {
		return ""
	}
	best, found := 3, ""
	for _, right := range slipTargets {
		most := 2
		if min(len(w), len(right)) < 6 {
			most = 1
		}
		if w[0] != right[0] {
			continue
		}
		if d := editDistance(w, right, most+1); d <= most && d < best {
			best, found = d, right
		}
	}
	return found
}

// mendSlips takes words of no known meaning for the ones they were meant to be,
// on lines that speak of filters. Names of people stay.
func (p *parser) mendSlips(l *line) {
	if l.unknown == 0 || !l.hasKind(mAHU, mBank) && p.sc.Here == "" {
		return
	}
	mended := false
	for i, m := range l.marks {
		if m.kind != mWord || i > 0 && l.marks[i-1].anyOf(cBy, cWith) || slices.Contains(l.crew, p.text[m.from:m.to]) {
			continue
		}
		right := slipped(m.text)
		if right == "" {
			continue
		}
		for _, e := range phrases[right] {
			if len(e.words) == 1 {
				m.kind, m.cues, m.text = mCue, e.cues, right
				l.unknown--
				mended = true
			}
		}
	}
	if mended {
		l.sum()
	}
}

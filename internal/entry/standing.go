package entry

import (
	"cmp"
	"slices"
)

// Standing returns what the entries say once every amendment and retraction
// among them is applied: the entries that still stand, amended ones with their
// newest body, ordered by the time they happened, then by Seq. Retractions and
// amendments themselves are left out. The order of the input does not matter,
// duplicates (same Seq) count once, and a retracted retraction restores its
// target.
func Standing(entries []Entry) []Entry {
	bySeq := make(map[int64]Entry, len(entries))
	for _, e := range entries {
		bySeq[e.Seq] = e
	}
	seqs := make([]int64, 0, len(bySeq))
	for s := range bySeq {
		seqs = append(seqs, s)
	}
	slices.Sort(seqs)

	// Walk from the newest to the oldest: by the time an entry is met, all
	// that may take it back has been settled.
	gone := map[int64]bool{}
	newest := map[int64]Body{}
	for i := len(seqs) - 1; i >= 0; i-- {
		e := bySeq[seqs[i]]
		if gone[e.Seq] {
			continue
		}
		switch b := e.Body.(type) {
		case Retract:
			if b.Target < e.Seq {
				gone[b.Target] = true
			}
		case Amend:
			if _, have := newest[b.Target]; !have && b.Target < e.Seq {
				newest[b.Target] = b.Body
			}
		}
	}
	var out []Entry
	for _, s := range seqs {
		e := bySeq[s]
		if gone[s] || e.Kind == KindRetract || e.Kind == KindAmend {
			continue
		}
		if b, ok := newest[s]; ok && b.Kind() == e.Kind {
			e.Body = b
		}
		out = append(out, e)
	}
	slices.SortFunc(out, func(a, b Entry) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq))
	})
	return out
}

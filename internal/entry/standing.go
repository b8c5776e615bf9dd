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
	gone, newest := undone(entries)
	out := make([]Entry, 0, len(entries))
	for _, e := range entries {
		if e.Kind == KindRetract || e.Kind == KindAmend || gone[e.Seq] {
			continue
		}
		if b, ok := newest[e.Seq]; ok && b.Kind() == e.Kind {
			e.Body = b
		}
		out = append(out, e)
	}
	slices.SortFunc(out, func(a, b Entry) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq))
	})
	return slices.CompactFunc(out, func(a, b Entry) bool { return a.Seq == b.Seq })
}

// undone settles what retractions and amendments do: which entries are gone, and
// the newest body of those amended. It walks them from the newest to the oldest:
// by the time one is met, all that may take it back has been settled.
func undone(entries []Entry) (gone map[int64]bool, newest map[int64]Body) {
	var acts []Entry
	for _, e := range entries {
		if e.Kind == KindRetract || e.Kind == KindAmend {
			acts = append(acts, e)
		}
	}
	if len(acts) == 0 {
		return nil, nil
	}
	slices.SortFunc(acts, func(a, b Entry) int { return cmp.Compare(b.Seq, a.Seq) })
	gone, newest = map[int64]bool{}, map[int64]Body{}
	for _, e := range acts {
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
	return gone, newest
}

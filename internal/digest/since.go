package digest

import (
	"cmp"
	"slices"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
)

// Since is what was recorded at a site between two digests, and what is worked out
// for a digest alone. The zero value tells nothing.
type Since struct {
	From, To  time.Time
	Readings  int // also those at the gauge's top or bouncing
	Swaps     []Done
	Finished  int // jobs reported done
	Begun     int // jobs reported begun
	Defects   []Noted
	TakenBack int
	Corrected int
	Where     []plant.BankID // of what was taken back, each once
	Pairs     []Pair         // primaries with the secondary behind them
}

// Done is a change-out.
type Done struct {
	Bank plant.BankID
	At   time.Time
	Who  string // may be empty
}

// Noted is a defect somebody noted, or reported as mended.
type Noted struct {
	Place plant.BankID
	Note  string
	By    string
	Fixed bool
}

// SinceKinds are the kinds of entries that SinceOf looks at.
var SinceKinds = []entry.Kind{
	entry.KindReading, entry.KindOverRange, entry.KindRange, entry.KindSwap, entry.KindJobStart, entry.KindJobDone,
	entry.KindDefect, entry.KindAmend, entry.KindRetract,
}

// LateReport is how long after it happened something may be reported and still
// be told in the digest. Histories that are imported are older.
const LateReport = 31 * 24 * time.Hour

// SinceOf tells what of the entries arrived in [from, to), so that what is
// reported late is told once and in the next digest. What was taken back again
// is counted as that and told nowhere else. The order of the entries does not
// matter.
func SinceOf(entries []entry.Entry, from, to time.Time) Since {
	s := Since{From: from, To: to}
	within := func(x entry.Entry) bool { return !x.Received.Before(from) && x.Received.Before(to) }
	for _, x := range entry.Standing(entries) {
		if within(x) && !x.At.Before(from.Add(-LateReport)) {
			s.add(x)
		}
	}
	s.changes(entries, within)
	return s
}

func (s *Since) add(x entry.Entry) {
	switch b := x.Body.(type) {
	case entry.Reading, entry.OverRange, entry.Range:
		s.Readings++
	case entry.Swap:
		s.Swaps = append(s.Swaps, Done{x.Place, x.At, cmp.Or(b.Who, x.By)})
	case entry.JobStart:
		s.Begun++
	case entry.JobDone:
		s.Finished++
	case entry.Defect:
		s.Defects = append(s.Defects, Noted{x.Place, b.Note, x.By, b.Fixed})
	}
}

// changes counts retractions and amendments that stand themselves. Like
// entry.Standing it goes from the newest to the oldest: by the time an entry is
// met, all that may take it back has been settled.
func (s *Since) changes(entries []entry.Entry, within func(entry.Entry) bool) {
	sorted := slices.Clone(entries)
	slices.SortFunc(sorted, func(a, b entry.Entry) int { return cmp.Compare(b.Seq, a.Seq) })
	sorted = slices.CompactFunc(sorted, func(a, b entry.Entry) bool { return a.Seq == b.Seq })
	kinds := map[int64]entry.Kind{}
	for _, x := range sorted {
		kinds[x.Seq] = x.Kind
	}
	gone := map[int64]bool{}
	for _, x := range sorted {
		if gone[x.Seq] {
			continue
		}
		switch b := x.Body.(type) {
		case entry.Retract:
			undone := kinds[b.Target] == entry.KindRetract // taking back a taking back
			if within(x) && !gone[b.Target] && !undone {
				s.TakenBack++
				s.where(x.Place)
			}
			gone[b.Target] = true
		case entry.Amend:
			if within(x) && !gone[b.Target] {
				s.Corrected++
			}
		}
	}
	slices.Sort(s.Where)
}

func (s *Since) where(p plant.BankID) {
	if p != "" && !slices.Contains(s.Where, p) {
		s.Where = append(s.Where, p)
	}
}

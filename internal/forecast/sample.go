package forecast

import (
	"cmp"
	"encoding/binary"
	"hash/fnv"
	"math"
	"slices"
)

// mostLives is the number of finished lives that a fleet's prior is learnt
// from. The typical life is known within 1 % by then; more would add only time.
const mostLives = 600

// A Sample keeps enough of a fleet's finished lives to learn from, in memory
// that does not grow with the fleet: the lives of whole banks, chosen by a
// checksum of the bank's name, so that the same ones are kept in whatever order
// they come. The zero value is empty. Learn on the sample of a fleet gives the
// prior that Learn on all its lives gives.
type Sample struct {
	banks []bankLives // by rank
	lives int
}

// bankLives are the finished lives of one bank.
type bankLives struct {
	rank  uint64
	group string
	lives []FinishedLife
}

func (b bankLives) compare(o bankLives) int {
	return cmp.Or(cmp.Compare(b.rank, o.rank), cmp.Compare(b.group, o.group))
}

// Add offers the finished lives of one bank, all with the same Group. Call it
// once for each bank.
func (s *Sample) Add(lives []FinishedLife) {
	if len(lives) == 0 {
		return
	}
	b := bankLives{rank: rankOf(lives[0]), group: lives[0].Group, lives: lives}
	at, _ := slices.BinarySearchFunc(s.banks, b, bankLives.compare)
	s.banks = slices.Insert(s.banks, at, b)
	s.lives += len(lives)
	for last := len(s.banks) - 1; s.lives-len(s.banks[last].lives) >= mostLives; last-- {
		s.lives -= len(s.banks[last].lives)
		s.banks[last] = bankLives{} // let the lives go
		s.banks = s.banks[:last]
	}
}

// Full reports whether there are lives enough: of banks that come in the order of
// SampleOrder no more are kept.
func (s *Sample) Full() bool { return s.lives >= mostLives }

// SampleOrder sorts banks (Group of their lives) into the order in which a Sample
// prefers them, so that no more of a fleet need be read than will be kept.
func SampleOrder(banks []string) []string {
	ranked := make([]bankLives, len(banks))
	for i, b := range banks {
		ranked[i] = bankLives{rank: rankOf(FinishedLife{Group: b}), group: b}
	}
	slices.SortFunc(ranked, bankLives.compare)
	out := make([]string, len(banks))
	for i, r := range ranked {
		out[i] = r.group
	}
	return out
}

// Lives are the lives kept.
func (s *Sample) Lives() []FinishedLife {
	out := make([]FinishedLife, 0, s.lives)
	for _, b := range s.banks {
		out = append(out, b.lives...)
	}
	return out
}

// rankOf places a bank, or a life that belongs to none, among the others as if
// by lot.
func rankOf(l FinishedLife) uint64 {
	h := fnv.New64a()
	h.Write([]byte(l.Group)) // never fails
	if l.Group == "" {
		for _, v := range [...]float64{l.EndX, l.LimitPa, l.CleanPa} {
			h.Write(binary.LittleEndian.AppendUint64(nil, math.Float64bits(v)))
		}
	}
	// The last bytes of a name hardly reach the upper bits of the checksum; this
	// spreads them (the finaliser of MurmurHash3, public domain).
	x := h.Sum64()
	x = (x ^ x>>33) * 0xff51afd7ed558ccd
	x = (x ^ x>>33) * 0xc4ceb9fe1a85ec53
	return x ^ x>>33
}

// sampled is what a Sample keeps of lives that are in the order of usable.
func sampled(lives []FinishedLife) []FinishedLife {
	if len(lives) <= mostLives {
		return lives
	}
	var s Sample
	for start := 0; start < len(lives); {
		end := start + 1
		for end < len(lives) && lives[start].Group != "" && lives[end].Group == lives[start].Group {
			end++
		}
		s.Add(lives[start:end])
		start = end
	}
	return usable(s.Lives())
}

package resistance

import (
	"fmt"

	"clogwise/internal/plant"
)

// Items finds an item by reorder code: plant.Register.Item will do.
type Items func(code string) (plant.Item, bool)

// BankFlowM3s is the design airflow through a bank, m³/s.
func BankFlowM3s(ahu plant.AHU, bank plant.Bank) float64 {
	return ahu.DesignFlowM3s * flowShare(bank)
}

func flowShare(b plant.Bank) float64 {
	if b.FlowShare > 0 {
		return b.FlowShare
	}
	return 1
}

// BankLaw is the law of a whole bank from the resistance points of what is
// fitted, as a function of the airflow through the bank. Fronts of another size
// than the item's take air by their face area. It returns ErrLaw when an item is
// unknown or has too few points.
func BankLaw(bank plant.Bank, find Items) (Law, error) {
	return bankLaw(bank, find, LawFrom)
}

// bankLaw adds up the fronts, each with the law that fit makes of its points.
func bankLaw(bank plant.Bank, find Items, fit func([]plant.FlowPoint) (Law, error)) (Law, error) {
	var parts []part
	for _, f := range frontsOf(bank) {
		code := f.Item
		if code == "" {
			code = bank.Item
		}
		item, ok := find(code)
		if !ok {
			return Law{}, fmt.Errorf("%w: item %q is not in the register", ErrLaw, code)
		}
		l, err := fit(item.Points)
		if err != nil {
			return Law{}, fmt.Errorf("item %s: %w", item.Code, err)
		}
		l.Source += " of " + item.Code
		parts = add(parts, part{l, float64(f.Count) * areaRatio(f, item)})
	}
	if len(parts) == 0 {
		return Law{}, fmt.Errorf("%w: the bank has no filters", ErrLaw)
	}
	return sideBySide(parts)
}

// part is a number of like filters.
type part struct {
	law Law
	n   float64
}

func add(parts []part, p part) []part {
	for i := range parts {
		if parts[i].law == p.law {
			parts[i].n += p.n
			return parts
		}
	}
	return append(parts, p)
}

// sideBySide joins unlike filters: at one resistance their airflows add. The sum
// is read at the resistances of a ladder and fitted anew.
func sideBySide(parts []part) (Law, error) {
	if len(parts) == 1 {
		return parts[0].law.Parallel(parts[0].n), nil
	}
	ladder := [...]float64{15, 30, 60, 90, 120, 150}
	points := make([]plant.FlowPoint, len(ladder))
	source := ""
	for i, pa := range ladder {
		points[i].Pa = pa
		for _, p := range parts {
			points[i].FlowM3s += p.n * p.law.Flow(pa)
		}
	}
	for i, p := range parts {
		if i > 0 {
			source += "; "
		}
		source += p.law.Source
	}
	l, err := LawFrom(points)
	l.Source = source
	return l, err
}

// frontsOf lists the fronts of a bank; one without any is one filter of its item.
func frontsOf(b plant.Bank) []plant.Front {
	if len(b.Fronts) == 0 {
		return []plant.Front{{Count: 1}}
	}
	return b.Fronts
}

func areaRatio(f plant.Front, it plant.Item) float64 {
	front, item := f.WidthMM*f.HeightMM, it.WidthMM*it.HeightMM
	if front <= 0 || item <= 0 {
		return 1
	}
	return float64(front) / float64(item)
}

// LawFor chooses the law of a bank: from the item's points, else from the
// exponent read in its life, else the class default. Law.Basis says which.
func LawFor(bank plant.Bank, find Items, life *Exponent, def Law) Law {
	if l, err := BankLaw(bank, find); err == nil {
		return l
	}
	if life != nil && life.Usable() {
		return life.Law()
	}
	return def
}

// Clean is the clean resistance of a bank and where it is taken from.
type Clean struct {
	Pa     float64 // at design airflow and 1.20 kg/m³
	Source string
}

// CleanFor returns the clean resistance at design airflow: the bank's own figure,
// else what the items' points give at the airflow of each filter. An item with
// one point is carried to that airflow by the shape of def. The second result is
// false when nothing is known.
func CleanFor(ahu plant.AHU, bank plant.Bank, find Items, def Law) (Clean, bool) {
	if bank.CleanPa > 0 {
		return Clean{bank.CleanPa, "register"}, true
	}
	q := BankFlowM3s(ahu, bank)
	if !positive(q) {
		return Clean{}, false
	}
	l, err := bankLaw(bank, find, func(points []plant.FlowPoint) (Law, error) { return lawOrShape(points, def) })
	if err != nil {
		return Clean{}, false
	}
	pa := l.Pa(q)
	return Clean{pa, l.Source}, positive(pa)
}

func lawOrShape(points []plant.FlowPoint, def Law) (Law, error) {
	l, err := LawFrom(points)
	if err == nil || len(points) == 0 || !positive(points[0].FlowM3s) || !positive(points[0].Pa) {
		return l, err
	}
	l = def.Through(points[0])
	l.Source = fmt.Sprintf("one point and %s", def.Source)
	return l, nil
}

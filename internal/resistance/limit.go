package resistance

import (
	"errors"
	"fmt"

	"clogwise/internal/plant"
)

// ErrNoLimit is returned when neither a manufacturer's figure nor a rule gives a
// final resistance.
var ErrNoLimit = errors.New("no final resistance")

// Limit is the final resistance of a bank at design airflow and what gave it.
type Limit struct {
	Pa     float64
	Rule   string // short, for people: "manufacturer", "EN 13053:2019"
	Source string // how the figure came about, in one line
}

// LimitFor returns the final resistance that governs a bank: the manufacturer's,
// from the bank or the item, else the rule of the bank or the site from the clean
// resistance. A rule set on the bank itself is held against the manufacturer's
// figure and the lower one governs, so no rule ever goes above it. It returns
// ErrNoLimit when a rule needs a clean resistance and cleanPa is not known.
//
// Where neither bank nor site chooses a rule it is twice clean in the US and EN
// 13053:2019 elsewhere.
func LimitFor(site plant.Site, bank plant.Bank, item plant.Item, cleanPa float64) (Limit, error) {
	makers := makersLimit(bank, item)
	if makers.Pa > 0 && bank.Rule == "" {
		return makers, nil
	}
	byRule, err := ruleLimit(ruleFor(site, bank), bank, item, cleanPa)
	switch {
	case makers.Pa > 0 && (err != nil || makers.Pa <= byRule.Pa):
		return makers, nil
	case err != nil:
		return Limit{}, err
	}
	return byRule, nil
}

// makersLimit is the lower of the bank's and the item's figures.
func makersLimit(bank plant.Bank, item plant.Item) Limit {
	ofBank := Limit{bank.LimitPa, "manufacturer", fmt.Sprintf("final resistance %.0f Pa set for this bank", bank.LimitPa)}
	ofItem := Limit{item.FinalPa, "manufacturer", fmt.Sprintf("final resistance %.0f Pa of %s", item.FinalPa, item.Code)}
	if ofItem.Pa > 0 && (!(ofBank.Pa > 0) || ofItem.Pa < ofBank.Pa) {
		return ofItem
	}
	return ofBank
}

func ruleFor(site plant.Site, bank plant.Bank) plant.LimitRule {
	switch {
	case bank.Rule != "":
		return bank.Rule
	case site.LimitRule != "":
		return site.LimitRule
	case site.Jurisdiction == "US":
		return plant.RuleTwiceClean
	}
	return plant.RuleEN13053y2019
}

// ruleLimit applies a rule.
func ruleLimit(rule plant.LimitRule, bank plant.Bank, item plant.Item, cleanPa float64) (Limit, error) {
	coarse, how := coarseness(bank, item)
	if rule == plant.RuleEN13053y2006 {
		pa, how := table2006(bank, item)
		return Limit{pa, "EN 13053:2006+A1", fmt.Sprintf("final resistance %.0f Pa for %s, table 9 (from memory)", pa, how)}, nil
	}
	if !positive(cleanPa) {
		return Limit{}, fmt.Errorf("%w: clean resistance not known; give it, or the manufacturer's final resistance", ErrNoLimit)
	}
	switch rule {
	case plant.RuleEN13053y2019:
		add := 100.0
		if coarse {
			add = 50
		}
		pa := min(cleanPa+add, 3*cleanPa)
		return Limit{pa, "EN 13053:2019", fmt.Sprintf("lower of clean + %.0f Pa (%s) and 3 × clean, from %.0f Pa clean", add, how, cleanPa)}, nil
	case plant.RuleTwiceClean:
		return Limit{2 * cleanPa, "twice clean", fmt.Sprintf("2 × %.0f Pa clean", cleanPa)}, nil
	case plant.RulePlus50:
		return Limit{cleanPa + 50, "clean + 50 Pa", fmt.Sprintf("%.0f Pa clean + 50 Pa", cleanPa)}, nil
	case plant.RulePlus100:
		return Limit{cleanPa + 100, "clean + 100 Pa", fmt.Sprintf("%.0f Pa clean + 100 Pa", cleanPa)}, nil
	}
	return Limit{}, fmt.Errorf("%w: rule %q is not known", ErrNoLimit, rule)
}

// coarseness tells coarse from fine by the item's class, the bank's required
// class or, without either, the stage.
func coarseness(bank plant.Bank, item plant.Item) (coarse bool, how string) {
	if c, ok := classOf(bank, item); ok {
		if c.IsCoarse() {
			return true, fmt.Sprintf("coarse, %s", c)
		}
		return false, fmt.Sprintf("fine, %s", c)
	}
	if bank.Stage == plant.Secondary || bank.Stage == plant.Third {
		return false, "fine by its stage, class not known"
	}
	return true, "coarse by its stage, class not known"
}

func classOf(bank plant.Bank, item plant.Item) (Class, bool) {
	for _, s := range []string{item.Class, bank.MinClass} {
		if c, err := ParseClass(s); err == nil {
			return c, true
		}
	}
	return Class{}, false
}

// table2006 is table 9 of EN 13053:2006+A1: G1 to G4 150 Pa, M5 to F7 200 Pa, F8
// and F9 300 Pa (from memory). Classes of other systems are placed by guidance:
// ISO ePM1 from 65 % as F8, finer EN 1822 classes as F9, MERV 14 and up as F8.
func table2006(bank plant.Bank, item plant.Item) (float64, string) {
	c, ok := classOf(bank, item)
	if !ok {
		if coarse, how := coarseness(bank, item); coarse {
			return 150, how
		}
		return 200, "fine by its stage, class not known"
	}
	switch {
	case c.IsCoarse():
		return 150, c.String()
	case c.System == EN779 && c.Rank >= 8, c.System == EN1822,
		c.System == ISO16890 && c.Group == EPM1 && c.Pct >= 65,
		c.System == ASHRAE52_2 && c.Rank >= 14:
		return 300, c.String()
	}
	return 200, c.String()
}

package bot

import (
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// exampleTags are the AHUs that help and examples name, each before those that its tag
// begins with, so that the longer is found first.
var exampleTags = []string{"AHU-10", "AHU-1", "AHU-2", "AHU-3", "AHU-6", "AHU-8", "EF-4"}

// own puts AHUs, items and people of the talk's sites in place of those that examples
// name, so that what is shown can be typed as it stands. What is known there stays.
func (t *talk) own(text string) string {
	if len(t.sites) == 0 {
		return text
	}
	site := t.sites[0].ID
	ahus := t.exampleAHUs(site)
	if len(ahus) == 0 {
		return text
	}
	var swap []string
	next := 0
	for _, tag := range exampleTags {
		if len(t.reg.FindAHUs(site, tag)) > 0 {
			continue
		}
		ahu, _ := t.reg.AHU(ahus[next%len(ahus)])
		next++
		swap = append(swap, tag+",2", ahu.Tag, tag, ahu.Tag)
	}
	var items []string
	for _, b := range t.reg.Banks(ahus[0]) {
		bank, _ := t.reg.Bank(b)
		items = append(items, bank.Item)
	}
	for _, it := range t.reg.Items() {
		if !slices.Contains(items, it.Code) {
			items = append(items, it.Code)
		}
	}
	items = slices.DeleteFunc(items, func(code string) bool { return code == "" })
	for i, code := range []string{"PNL-592", "BAG-592", "BAG-593"} { // of the primary, of the secondary, another
		if _, known := t.reg.Item(code); !known && i < len(items) {
			swap = append(swap, code, items[i])
		}
	}
	if crew := t.sites[0].Crew; len(crew) > 0 {
		swap = append(swap, "Nadia", crew[0])
	}
	return strings.NewReplacer(swap...).Replace(text)
}

// exampleAHUs are the AHUs of a site to make examples of: those with a primary and a
// secondary bank, else any with banks.
func (t *talk) exampleAHUs(site string) []plant.BankID {
	var any []plant.BankID
	var both []plant.BankID
	for _, id := range t.reg.AHUs(site) {
		banks := t.reg.Banks(id)
		if len(banks) > 0 {
			any = append(any, id)
		}
		_, pre := t.reg.FindBank(id, string(plant.Primary))
		_, bag := t.reg.FindBank(id, string(plant.Secondary))
		if pre && bag {
			both = append(both, id)
		}
	}
	if len(both) > 0 {
		return both
	}
	return any
}

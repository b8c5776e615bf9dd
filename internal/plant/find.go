package plant

// FindSite finds a site by id, name or alias; case, blanks and punctuation do
// not matter.
func (r *Register) FindSite(name string) (Site, bool) {
	key := nameKey(name)
	for _, id := range r.siteIDs {
		s := r.sites[id]
		for _, n := range append([]string{s.ID, s.Name}, s.Aliases...) {
			if key != "" && nameKey(n) == key {
				return s, true
			}
		}
	}
	return Site{}, false
}

// FindAHUs lists the AHUs of a site ("" = all sites) that are called name by
// id, tag or alias: "ahu 03" finds AHU-3.
func (r *Register) FindAHUs(site, name string) []BankID {
	key := nameKey(name)
	var out []BankID
	for _, id := range r.AHUs(site) {
		a := r.ahus[id]
		for _, n := range append([]string{a.ID, a.Tag}, a.Aliases...) {
			if key != "" && nameKey(n) == key {
				out = append(out, id)
				break
			}
		}
	}
	return out
}

// FindBank finds a bank of an AHU by id, alias or stage. A stage that two banks
// share finds neither. An empty name finds the bank of an AHU that has only one.
func (r *Register) FindBank(ahu BankID, name string) (BankID, bool) {
	ids := r.Banks(ahu.AHU())
	key := nameKey(name)
	if key == "" && len(ids) == 1 {
		return ids[0], true
	}
	var ofStage []BankID
	for _, id := range ids {
		b := r.banks[id]
		for _, n := range append([]string{b.ID}, b.Aliases...) {
			if key != "" && nameKey(n) == key {
				return id, true
			}
		}
		if nameKey(string(b.Stage)) == key {
			ofStage = append(ofStage, id)
		}
	}
	if len(ofStage) == 1 {
		return ofStage[0], true
	}
	return "", false
}

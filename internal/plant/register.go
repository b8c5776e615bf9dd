package plant

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"clogwise/internal/locale"
)

// A Register is everything known of the plant at one moment. Build it with
// NewRegister; it is immutable afterwards and safe for concurrent reading.
type Register struct {
	sites   map[string]Site
	ahus    map[BankID]AHU  // "site/ahu"
	banks   map[BankID]Bank // "site/ahu/bank"
	items   map[string]Item
	siteIDs []string
	ahuIDs  []BankID
	bankIDs []BankID
	banksOf map[BankID][]BankID // banks of each site and AHU, in the order of bankIDs
	ahusOf  map[string][]BankID // AHUs of each site, in the order of ahuIDs
	codes   []string
	points  map[string]BankID // building-system point name, lower case
	zones   map[string]*time.Location
	tongues map[string]locale.Locale // of each site
}

// Contents is the register as data: the form it is filed, imported and stored in.
type Contents struct {
	Sites []Site
	AHUs  map[BankID]AHU
	Banks map[BankID]Bank
	Items []Item
}

// NewRegister indexes contents. It does not validate: Validate does.
func NewRegister(c Contents) *Register {
	r := &Register{
		sites: map[string]Site{}, ahus: map[BankID]AHU{}, banks: map[BankID]Bank{},
		items: map[string]Item{}, points: map[string]BankID{}, zones: map[string]*time.Location{}, tongues: map[string]locale.Locale{},
		banksOf: map[BankID][]BankID{}, ahusOf: map[string][]BankID{},
	}
	for _, s := range c.Sites {
		r.sites[s.ID] = s
		r.zones[s.ID] = s.Location()
		r.tongues[s.ID] = locale.Of(s.Language)
	}
	for id, a := range c.AHUs {
		r.ahus[id] = a
		r.ahuIDs = append(r.ahuIDs, id)
	}
	for id, b := range c.Banks {
		r.banks[id] = b
		r.bankIDs = append(r.bankIDs, id)
	}
	for _, it := range c.Items {
		r.items[it.Code] = it
	}
	for id := range r.sites {
		r.siteIDs = append(r.siteIDs, id)
	}
	for code := range r.items {
		r.codes = append(r.codes, code)
	}
	slices.Sort(r.siteIDs)
	slices.Sort(r.codes)
	r.order()
	return r
}

// order sorts AHUs and banks, and lists them by site and AHU.
func (r *Register) order() {
	keys := make(map[BankID]string, len(r.ahuIDs)) // of AHUs
	key := func(ahu BankID) string {
		k, ok := keys[ahu]
		if !ok {
			k = naturalKey(string(ahu))
			keys[ahu] = k
		}
		return k
	}
	natural := func(a, b BankID) int { return cmp.Or(cmp.Compare(key(a), key(b)), cmp.Compare(a, b)) }
	slices.SortFunc(r.ahuIDs, natural)
	slices.SortFunc(r.bankIDs, func(a, b BankID) int {
		return cmp.Or(natural(a.AHU(), b.AHU()), cmp.Compare(stageOrder(r.banks[a].Stage), stageOrder(r.banks[b].Stage)), cmp.Compare(a, b))
	})
	for _, id := range r.ahuIDs {
		r.ahusOf[id.Site()] = append(r.ahusOf[id.Site()], id)
	}
	for _, id := range r.bankIDs {
		r.banksOf[id.AHU()] = append(r.banksOf[id.AHU()], id)
		r.banksOf[BankID(id.Site())] = append(r.banksOf[BankID(id.Site())], id)
		for _, p := range r.banks[id].Points {
			r.points[strings.ToLower(p)] = id
		}
	}
}

func stageOrder(s Stage) int {
	return slices.Index([]Stage{Primary, Secondary, Third, Return}, s)
}

// naturalKey orders "ahu-2" before "ahu-10".
func naturalKey(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] >= '0' && s[j] <= '9' {
			j++
		}
		if j > i {
			for range max(0, 8-(j-i)) {
				b.WriteByte('0')
			}
			b.WriteString(s[i:j])
			i = j
			continue
		}
		b.WriteByte(s[i])
		i++
	}
	return b.String()
}

// Site finds a site by id.
func (r *Register) Site(id string) (Site, bool) { s, ok := r.sites[id]; return s, ok }

// Location is the time zone of a site, loaded once; an unknown site gives UTC.
func (r *Register) Location(site string) *time.Location {
	if loc, ok := r.zones[site]; ok {
		return loc
	}
	return time.UTC
}

// AHU finds an AHU by "site/ahu" (a bank's id will do).
func (r *Register) AHU(id BankID) (AHU, bool) { a, ok := r.ahus[id.AHU()]; return a, ok }

// Bank finds a bank by "site/ahu/bank".
func (r *Register) Bank(id BankID) (Bank, bool) { b, ok := r.banks[id]; return b, ok }

// Item finds an item by reorder code.
func (r *Register) Item(code string) (Item, bool) { it, ok := r.items[code]; return it, ok }

// Point finds the bank a building-system point name belongs to; case is ignored.
func (r *Register) Point(name string) (BankID, bool) {
	id, ok := r.points[strings.ToLower(name)]
	return id, ok
}

// Sites lists the sites by id.
func (r *Register) Sites() []Site {
	out := make([]Site, 0, len(r.siteIDs))
	for _, id := range r.siteIDs {
		out = append(out, r.sites[id])
	}
	return out
}

// AHUs lists the AHU ids of a site ("" = all), in natural order of their tags.
func (r *Register) AHUs(site string) []BankID {
	if site == "" {
		return slices.Clone(r.ahuIDs)
	}
	return slices.Clone(r.ahusOf[site])
}

// Banks lists the bank ids below a site, an AHU or everything (""), AHU by AHU
// and in the order of the air; of a bank it lists that bank. The cost is that of
// what is listed.
func (r *Register) Banks(place BankID) []BankID {
	if place == "" {
		return slices.Clone(r.bankIDs)
	}
	if _, ok := r.banks[place]; ok {
		return []BankID{place}
	}
	return slices.Clone(r.banksOf[place])
}

// Items lists every item by code.
func (r *Register) Items() []Item {
	out := make([]Item, 0, len(r.codes))
	for _, c := range r.codes {
		out = append(out, r.items[c])
	}
	return out
}

// Name is what people call a place, in the language of its site: "AHU-3 secondary",
// "AHU-3 Feinfilter", "AHU-3", a site's name.
func (r *Register) Name(id BankID) string {
	a, ok := r.AHU(id)
	if !ok {
		if s, isSite := r.sites[string(id)]; isSite {
			return s.Name
		}
		return string(id)
	}
	b, ok := r.banks[id]
	if !ok {
		return a.Tag
	}
	if b.ID == "" || b.ID == string(b.Stage) {
		return a.Tag + " " + r.StageName(id)
	}
	return a.Tag + " " + b.ID
}

// StageName is what the stage of a bank is called in the language of its site.
func (r *Register) StageName(bank BankID) string {
	return r.banks[bank].Stage.Words(r.tongues[bank.Site()])
}

// Contents returns the register as data.
func (r *Register) Contents() Contents {
	c := Contents{Sites: r.Sites(), Items: r.Items(), AHUs: map[BankID]AHU{}, Banks: map[BankID]Bank{}}
	for id, a := range r.ahus {
		c.AHUs[id] = a
	}
	for id, b := range r.banks {
		c.Banks[id] = b
	}
	return c
}

// ScheduleOf is the running schedule of an AHU: its own, else the site's.
func (r *Register) ScheduleOf(id BankID) Schedule {
	if a, ok := r.AHU(id); ok && a.Schedule != nil {
		return *a.Schedule
	}
	return r.sites[id.Site()].Schedule
}

package faults_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"clogwise/internal/demo"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
)

// Who types in the channels.
const (
	technicianID = "U1"
	technician   = "Tove"
)

// The digest's schedule in these tests. Its period is longer than the digests of all
// sites take with a leader killed among them: of several missed only the newest is
// sent, by design.
const (
	digestEvery  = "*/2 * * * *"
	digestPeriod = 2 * time.Minute

	leap = time.Hour // of a clock that is stepped on
)

// register copies the demo's clinic to a number of sites, each with a channel of
// its own. Their clocks stand near noon whenever the test runs, so that no
// nightly recompute falls into it: that one learns priors, and a forecast made
// before it then differs from one made after it by right.
func register(sites int) plant.Contents {
	portfolio := demo.Portfolio()
	at := slices.IndexFunc(portfolio.Sites, func(s plant.Site) bool { return s.ID == "clinic" })
	model := portfolio.Sites[at]
	out := plant.Contents{AHUs: map[plant.BankID]plant.AHU{}, Banks: map[plant.BankID]plant.Bank{}}
	for _, it := range portfolio.Items {
		if it.Site == model.ID {
			it.Site = ""
			out.Items = append(out.Items, it)
		}
	}
	for i := range sites {
		s := model
		s.ID, s.Name, s.Aliases = fmt.Sprintf("site%02d", i), fmt.Sprintf("Site %02d", i), nil
		s.Channel, s.DigestAt, s.Zone = channelOf(s.ID), digestEvery, noonZone(time.Now())
		s.Crew, s.Supervisors = []string{technician}, []string{"Maren"}
		out.Sites = append(out.Sites, s)
		for id, a := range portfolio.AHUs {
			if id.Site() == model.ID {
				out.AHUs[moved(id, s.ID)] = a
			}
		}
		for id, b := range portfolio.Banks {
			if id.Site() == model.ID {
				b.Points = nil // points are unique in a register
				out.Banks[moved(id, s.ID)] = b
			}
		}
	}
	return out
}

func channelOf(site string) string { return "C" + strings.ToUpper(site) }

func moved(id plant.BankID, site string) plant.BankID {
	return plant.BankID(site + strings.TrimPrefix(string(id), id.Site()))
}

// noonZone is a zone in which it is between 11:30 and 12:30 now.
func noonZone(now time.Time) string {
	east := 12 - now.UTC().Add(30*time.Minute).Hour()
	switch {
	case east > 0:
		return fmt.Sprintf("Etc/GMT-%d", east) // the sign of these names is turned round
	case east < 0:
		return fmt.Sprintf("Etc/GMT+%d", -east)
	}
	return "Etc/UTC"
}

func writeRegister(t *testing.T, dir string, c plant.Contents) string {
	t.Helper()
	name := filepath.Join(dir, "register.yaml")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := registerfile.WriteYAML(f, c); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return name
}

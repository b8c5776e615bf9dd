package registerfile_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
)

func guesses(t *testing.T, text string, history bool) map[string]string {
	t.Helper()
	all, faults := registerfile.GuessColumns("x.csv", strings.NewReader(text), history)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	out := map[string]string{}
	for _, g := range all {
		out[g.Header] = strings.TrimSpace(g.Column + " " + g.Unit)
		if (g.Why == "") != (g.Column != "") {
			t.Errorf("%+v", g)
		}
	}
	return out
}

func TestGuessColumns(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, head string
		history    bool
		want       map[string]string
	}{
		{"ours", "time,ahu,bank,pa", true, map[string]string{}},
		{"English", "Measured at,Equipment Tag,Filter stage,Filter DP (in. w.c.),Supply airflow [cfm],Fan speed (%),Technician", true, map[string]string{
			"Measured at": "time", "Equipment Tag": "ahu", "Filter stage": "bank", "Filter DP (in. w.c.)": "value inH2O", "Supply airflow [cfm]": "flow cfm", "Fan speed (%)": "fan_pct", "Technician": "by",
		}},
		{"German", "Zeitstempel;Standort;Anlage;Filterstufe;Differenzdruck [Pa];Volumenstrom [m³/h];Frequenz;Bemerkung;Wetter", true, map[string]string{
			"Zeitstempel": "time", "Standort": "site", "Anlage": "ahu", "Filterstufe": "bank", "Differenzdruck [Pa]": "pa", "Volumenstrom [m³/h]": "flow m³/h", "Frequenz": "fan_hz", "Bemerkung": "note", "Wetter": "",
		}},
		{"Spanish", "Fecha,UTA,Etapa,Presión (Pa),Observaciones", true, map[string]string{"Fecha": "time", "UTA": "ahu", "Etapa": "bank", "Presión (Pa)": "pa", "Observaciones": "note"}},
		{"two of one", "time,ahu,Differenzdruck Pa,Druck Pa", true, map[string]string{"Differenzdruck Pa": "pa", "Druck Pa": ""}},
		{"register", "Standort,Anlage,bank,stage,Grenzwert (Pa),Anfangsdruck (kPa)", false, map[string]string{"Standort": "site", "Anlage": "ahu", "Grenzwert (Pa)": "limit_pa", "Anfangsdruck (kPa)": ""}},
		{"items", "code,Klasse,Breite mm,Preis,Währung,Lieferzeit Tage", false, map[string]string{"Klasse": "class", "Breite mm": "width_mm", "Preis": "price", "Währung": "currency", "Lieferzeit Tage": ""}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			if d := cmp.Diff(tc.want, guesses(t, tc.head+"\n", tc.history)); d != "" {
				t.Error(d)
			}
		})
	}
}

// A confirmed guess reads the file; without it nothing is read.
func TestHistoryByGuessedColumns(t *testing.T) {
	t.Parallel()
	reg := plant.NewRegister(plant.Contents{
		Sites: []plant.Site{{ID: "north", Name: "North", Zone: "Etc/UTC"}}, AHUs: map[plant.BankID]plant.AHU{"north/ahu-3": {ID: "ahu-3", Tag: "AHU-3"}},
		Banks: map[plant.BankID]plant.Bank{"north/ahu-3/secondary": {ID: "secondary", Stage: plant.Secondary}},
	})
	const text = "Measured at,Equipment,Filter stage,Filter DP (in wc),Airflow (cfm)\n2026-03-01 08:00,AHU-3,secondary,0.5,1000\n"
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	if es, faults := registerfile.ReadHistory("x.csv", strings.NewReader(text), reg, now); len(es) > 0 || len(faults) == 0 {
		t.Fatalf("read unasked: %+v", es)
	}
	all, faults := registerfile.GuessColumns("x.csv", strings.NewReader(text), true)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	cols := registerfile.Columns{}
	for _, g := range all {
		cols[g.Header] = g.As
	}
	es, faults := registerfile.ReadHistoryAs("x.csv", strings.NewReader(text), cols, reg, now)
	if len(faults) > 0 || len(es) != 1 {
		t.Fatalf("%+v %v", es, faults)
	}
	r := es[0].Body.(entry.Reading)
	// 0.5 in of conventional water at 249.08891 Pa, 1000 cfm at 4.719474e-4 m³/s (NIST SP 811).
	if es[0].Place != "north/ahu-3/secondary" || r.Pa < 124.54 || r.Pa > 124.55 || r.FlowM3s == nil || *r.FlowM3s < 0.4719 || *r.FlowM3s > 0.4720 {
		t.Errorf("%+v %+v", es[0], r)
	}
}

package locale_test

import (
	"fmt"
	"testing"

	"clogwise/internal/duelist"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/resistance"
)

// What the core says in English is said again in the language of the site, with the
// same figures; names and what nobody translated stay. The English is the core's own.
func TestRetell(t *testing.T) {
	t.Parallel()
	maker, err := resistance.LimitFor(plant.Site{}, plant.Bank{}, plant.Item{Code: "QC-B600", FinalPa: 250}, 60)
	if err != nil {
		t.Fatal(err)
	}
	rule, err := resistance.LimitFor(plant.Site{}, plant.Bank{}, plant.Item{Class: "ISO ePM1 55%"}, 62)
	if err != nil {
		t.Fatal(err)
	}
	guided := resistance.Meets("F7", "ISO ePM1 50%").Reason
	_, unknown := resistance.BankLaw(plant.Bank{Item: "NONE"}, func(string) (plant.Item, bool) { return plant.Item{}, false })
	for _, tc := range []struct{ name, english, de, es string }{
		{"words alone", "airflow not given: taken as design", "Luftstrom nicht angegeben: als Nennluftstrom genommen", "caudal no indicado: tomado como el de diseño"},
		{"a limit", maker.Rule + ": " + maker.Source, "Hersteller: Enddruckdifferenz 250 Pa von QC-B600", "fabricante: pérdida de carga final 250 Pa de QC-B600"},
		{"a rule with words in it", rule.Source,
			"das Kleinere von sauber + 100 Pa (fein, ISO ePM1 55%) und 3 × sauber, ab 62 Pa sauber",
			"el menor de limpio + 100 Pa (fino, ISO ePM1 55%) y 3 × limpio, desde 62 Pa limpio"},
		{"a reason within a reason", guided,
			"F7 liegt unter ISO ePM1 50%, nur nach Leitlinie (niedrigste Werte nach ISO 16890 von F7): vom Hersteller bestätigen lassen",
			"F7 está por debajo de ISO ePM1 50%, solo según guía (valores mínimos de ISO 16890 de F7): pide al fabricante que lo confirme"},
		{"an error and what it wraps", unknown.Error(),
			`kein Zusammenhang von Druckverlust und Luftstrom: Artikel "NONE" steht nicht im Register`,
			`sin relación entre pérdida de carga y caudal: el artículo "NONE" no está en el registro`},
		{"why there is no plan of visits", fmt.Errorf("%w: %s is listed twice", duelist.ErrJob, "hall/ahu-1/primary").Error(),
			"Besuche: Ein Einsatz ist nicht planbar: hall/ahu-1/primary steht zweimal da",
			"visitas: un trabajo no se puede planificar: hall/ahu-1/primary aparece dos veces"},
		{"decimals", fmt.Sprintf("airflow lost between %.0f and %.0f %%; missing: %s", 0.0, 12.4, "fan curve"), "verlorener Luftstrom zwischen 0 und 12 %; es fehlt: Ventilatorkennlinie", "caudal perdido entre el 0 y el 12 %; falta: curva del ventilador"},
		{"a fraction", "n = 1.25, set for the site", "n = 1,25, für den Standort festgelegt", "n = 1,25, fijado para el centro"},
		{"another order of words", "AHU-1 primary: past 160 Pa since about 6 Nov", "AHU-1 primary: etwa seit 6 Nov über 160 Pa", "AHU-1 primary: por encima de 160 Pa desde el 6 Nov aproximadamente"},
		{"what people typed stays", `"row 3 is at fault" is not a number; write a reading such as 145`, `"row 3 is at fault" ist keine Zahl; einen Messwert wie 145 schreiben`, `"row 3 is at fault" no es un número; escribe una lectura como 145`},
		{"nobody's text", "Theaterwoche, bis Mai", "Theaterwoche, bis Mai", "Theaterwoche, bis Mai"},
	} {
		for tag, want := range map[string]string{"en": tc.english, "de": tc.de, "es": tc.es} {
			if got := locale.Of(tag).Retell(tc.english); got != want {
				t.Errorf("%s in %s:\n got %s\nwant %s", tc.name, tag, got, want)
			}
		}
	}
}

func BenchmarkRetell(b *testing.B) {
	in := locale.Of("de")
	for b.Loop() {
		in.Retell("manufacturer: final resistance 250 Pa of QC-B600")
	}
}

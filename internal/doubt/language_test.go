package doubt_test

import (
	"reflect"
	"testing"

	"clogwise/internal/doubt"
	"clogwise/internal/locale"
)

// What is seen and what to look at are in the language of the input; figures and
// codes are the same in each. The translations are the project's own.
func TestFindingsInTheLanguageOfTheInput(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		pa   []float64
		want map[string][2]string // text and check by language
	}{
		{"fallen", after(80, 80), map[string][2]string{
			"de": {"Von 99 Pa (0,40 in wc) auf 80 Pa (0,32 in wc) gefallen seit 18. Mai, kein Filterwechsel eingetragen.",
				"Nach gerissenem oder verrutschtem Filter, offener Tür, langsamerem Ventilator suchen. Melden, was behoben oder gewechselt wurde."},
			"es": {"Ha bajado de 99 Pa (0,40 in wc) a 80 Pa (0,32 in wc) desde el 18 may, sin cambio de filtros registrado.",
				"Busca un filtro roto o desplazado, una puerta abierta, un ventilador más lento. Di qué se arregló o se cambió."},
		}},
		{"zero", after(0), map[string][2]string{
			"de": {"Zeigt null.", "Läuft der Ventilator? Nach abgezogenem Schlauch, geschlossenem Hahn, totem Fühler suchen."},
			"es": {"Marca cero.", "¿Está en marcha el ventilador? Busca un tubo suelto, una llave cerrada, un sensor muerto."},
		}},
	} {
		for tag, want := range c.want {
			t.Run(tag+" "+c.name, func(t *testing.T) {
				t.Parallel()
				in := life(weeks(c.pa...))
				_, english, _ := doubt.Examine(in)
				in.In = locale.Of(tag)
				_, fs, _ := doubt.Examine(in)
				if len(fs) != 1 || len(english) != 1 || fs[0].Text != want[0] || fs[0].Check != want[1] {
					t.Fatalf("%+v", fs)
				}
				fs[0].Text, fs[0].Check = english[0].Text, english[0].Check
				if !reflect.DeepEqual(fs, english) {
					t.Errorf("differs from the English in more than words: %+v, %+v", fs, english)
				}
			})
		}
	}
}

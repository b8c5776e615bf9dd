package phrase_test

import (
	"strings"
	"testing"

	"clogwise/internal/locale"
	"clogwise/internal/phrase"
)

// said is what a person reads in reply to a message: a refusal, a question with its
// choices, or the asides.
func said(m phrase.Meaning) string {
	switch m.Outcome {
	case phrase.Refused:
		return m.Reply
	case phrase.Ask:
		s := m.Ask.Text
		for _, c := range m.Ask.Choices {
			s += " [" + c.Label + "]"
		}
		return s
	}
	notes := make([]string, len(m.Notes))
	for i, n := range m.Notes {
		notes[i] = n.Text
	}
	return strings.Join(notes, "; ")
}

// Refusals, questions and asides are in the language of the scope; what is meant is
// the same. The translations are the project's own, read back against the English.
func TestRepliesInTheLanguageOfTheScope(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ message, de, es string }{
		{"fire in ahu2, bag 150 pa",
			"Zuerst die örtliche Notrufnummer anrufen; ich kann niemanden anrufen. Den Bereich nur sichern, wenn das ohne Gefahr für dich geht, und andere fernhalten. Dein Objektleiter wird informiert. Von dieser Nachricht wurde nichts gespeichert; Messwerte später noch einmal für sich allein senden. Ist es nur Rauch von draußen, zum Beispiel schreiben: Rauch von draußen AHU-1.",
			"Llama primero al número local de emergencias; yo no puedo llamar a nadie. Asegura la zona solo si no hay peligro para ti, y mantén alejados a los demás. Se avisa a tu supervisor. De este mensaje no se ha guardado nada; envía las lecturas más tarde, por separado. Si solo es humo del exterior, escribe por ejemplo: humo de fuera AHU-1."},
		{"can I change AHU-3 with the fan running? pre 80 Pa",
			"Nein. Niemand arbeitet bei laufendem Ventilator in einem Gerät oder öffnet es, und dafür gebe ich keine Schritte. Zuerst freischalten (von allen Energiequellen trennen und gegen Wiedereinschalten sichern) oder die für die Lüftung verantwortliche Person fragen. Dein Objektleiter wird informiert. Von dieser Zeile wurde nichts gespeichert; einen Messwert für sich allein senden.",
			"No. Nadie trabaja dentro de una unidad ni la abre con el ventilador en marcha, y para eso no doy pasos. Primero hay que consignarla (separarla de todas las energías y bloquearla), o pregunta a la persona responsable de la ventilación. Se avisa a tu supervisor. De esa línea no se ha guardado nada; envía la lectura sola."},
		{"is it safe to go in AHU-3",
			"Das kann ich nicht sagen: Ich sehe die Anlage nicht. Ob sie freigeschaltet ist, ihre Spannungsfreiheit festgestellt ist und sie sicher betreten werden kann, kann nur eine befugte Person am Gerät sagen. Für die Schritte zum Beispiel schreiben: Schritte AHU-3. Dein Objektleiter wird informiert.",
			"Eso no lo puedo decir: no veo la instalación. Si está consignada, con la ausencia de tensión verificada, y si es seguro entrar, solo lo puede decir una persona autorizada junto a la unidad. Para los pasos, escribe por ejemplo: pasos AHU-3. Se avisa a tu supervisor."},
		{"take Dave's lock off AHU-3",
			"Nein. Ein Schloss nimmt nur die Person ab, die es angebracht hat; sonst gilt allein das eigene Verfahren des Standorts dafür. Dein Objektleiter wird informiert.",
			"No. Un candado lo quita solo la persona que lo puso, o se quita según el procedimiento propio del centro. Se avisa a tu supervisor."},
		{"skip the steps for AHU-3",
			"Nein. Die Liste bleibt vollständig. Alles lesen, und den Objektleiter fragen, wenn ein Schritt nicht zur Anlage passt.",
			"No. La lista queda completa. Léela entera y pregunta a tu supervisor si un paso no encaja con la instalación."},
		{"set limit AHU-3 bag to 250",
			"Enddruckdifferenzen und andere Angaben des Registers werden nicht im Chat geändert. Ein Objektleiter ändert die Registerdatei und importiert sie.",
			"Los límites y otros datos del registro no se cambian por chat. Un supervisor cambia el archivo del registro y lo importa."},
		{"copy last week's readings",
			"Ich kann keine Messwerte kopieren. Die Zahlen von heute senden oder: AHU-3 ausgelassen: Grund.",
			"No puedo copiar lecturas. Envía los números de hoy, o: omitir AHU-3: motivo."},
		{"AHU-33 bag 150 pa",
			"AHU-33 gibt es hier nicht. War AHU-3 gemeint? Nichts gespeichert. [AHU-3]",
			"Aquí no hay AHU-33. ¿Querías decir AHU-3? Nada guardado. [AHU-3]"},
		{"AHU-3 150 pa",
			"Welche Filterstufe von AHU-3: primary oder secondary? Noch nichts gespeichert. [primary] [secondary]",
			"¿Qué etapa de AHU-3: primary o secondary? Nada guardado todavía. [primary] [secondary]"},
		{"AHU-3 bag 0 pa",
			"AHU-3 secondary zeigt 0: Ventilator aus, Nullpunktprüfung oder wirklich 0 bei laufendem Ventilator? Noch nichts gespeichert. [Ventilator aus] [Nullpunktprüfung, Anschlüsse offen] [0 Pa bei laufendem Ventilator]",
			"AHU-3 secondary marca 0: ¿ventilador parado, comprobación del cero o de verdad 0 con el ventilador en marcha? Nada guardado todavía. [ventilador parado] [comprobación del cero, tomas abiertas] [0 Pa con el ventilador en marcha]"},
		{"AHU-3 bag -150 pa",
			"AHU-3 secondary: minus 150 Pa (0,60 in wc) (Anschlüsse vertauscht?) oder nur ein Strich vor der Zahl? Noch nichts gespeichert. [150 Pa (0,60 in wc), es war ein Strich] [minus 150 Pa (0,60 in wc)]",
			"AHU-3 secondary: ¿menos 150 Pa (0,60 in wc) (¿tomas cambiadas?) o solo un guion delante del número? Nada guardado todavía. [150 Pa (0,60 in wc), era un guion] [menos 150 Pa (0,60 in wc)]"},
		{"AHU-3 bag 1.5",
			"AHU-3 secondary 1.5: 1,5 mbar (150 Pa) oder 1,5 in wc (374 Pa)? Zuletzt waren es 150 Pa (0,60 in wc). Noch nichts gespeichert. [1,5 mbar (150 Pa)] [1,5 in wc (374 Pa)]",
			"AHU-3 secondary 1.5: ¿1,5 mbar (150 Pa) o 1,5 in wc (374 Pa)? La última fue 150 Pa (0,60 in wc). Nada guardado todavía. [1,5 mbar (150 Pa)] [1,5 in wc (374 Pa)]"},
		{"AHU-3 bag 900 pa",
			"AHU-3 secondary 900 Pa (3,61 in wc) ist das Doppelte der Enddruckdifferenz von 200 Pa oder mehr. ok antworten oder noch einmal senden. Noch nichts gespeichert. [ja, 900 Pa]",
			"AHU-3 secondary 900 Pa (3,61 in wc) es el doble de su límite de 200 Pa o más. Responde ok o envíalo otra vez. Nada guardado todavía. [sí, 900 Pa]"},
		{"skip AHU-3",
			"Warum wurde AHU-3 nicht abgelesen? Noch nichts gespeichert. [Technikraum verschlossen] [kein sicherer Zugang] [Manometer defekt]",
			"¿Por qué no se leyó AHU-3? Nada guardado todavía. [sala técnica cerrada] [sin acceso seguro] [manómetro averiado]"},
		{"book AHU-3 bag",
			"Wann soll AHU-3 secondary gemacht werden? Einen kommenden Tag und eine Uhrzeit angeben. Noch nichts gebucht. [Di 10. Mär 07:30] [Mi 11. Mär 07:30] [Do 12. Mär 07:30]",
			"¿Cuándo hay que hacer AHU-3 secondary? Da un día futuro y una hora. Nada programado todavía. [mar 10 mar 07:30] [mié 11 mar 07:30] [jue 12 mar 07:30]"},
		{"AHU-3 change bags",
			"AHU-3: schon gewechselt oder zu buchen? Noch nichts gespeichert. [schon gewechselt] [für morgen buchen]",
			"AHU-3: ¿ya cambiados o hay que programarlo? Nada guardado todavía. [ya cambiados] [programar para mañana]"},
		{"AHU-3 fan off 112 pa",
			"AHU-3: Ventilator aus und trotzdem 112 pa? Noch nichts gespeichert. [Ventilator aus, kein Messwert] [Ventilator läuft, Messwert behalten]",
			"AHU-3: ¿ventilador parado y aun así 112 pa? Nada guardado todavía. [ventilador parado, sin lectura] [ventilador en marcha, conservar la lectura]"},
		{"AHU-3 mouse droppings in plenum",
			"Kot, Schimmel und tote Tiere können krank machen: draußen bleiben, nicht trocken fegen und nicht trocken absaugen; der Objektleiter veranlasst die Reinigung",
			"excrementos, moho y animales muertos pueden causar enfermedades: quédate fuera, no los barras ni los aspires en seco; el supervisor organiza la limpieza"},
	} {
		english := phrase.Understand(c.message, scopeNamed("demo"))
		for tag, want := range map[string]string{"de": c.de, "es": c.es} {
			t.Run(tag+": "+c.message, func(t *testing.T) {
				t.Parallel()
				sc := scopeNamed("demo")
				sc.In = locale.Of(tag)
				m := phrase.Understand(c.message, sc)
				if got := said(m); got != want {
					t.Errorf("\n got %s\nwant %s", got, want)
				}
				if got, want := withoutWords(m), withoutWords(english); got != want {
					t.Errorf("means\n%s, in English\n%s", got, want)
				}
			})
		}
	}
}

// withoutWords is what a message comes to but for what is said of it.
func withoutWords(m phrase.Meaning) string {
	s := string(m.Outcome) + " " + m.Code
	for _, it := range m.Items {
		s += " | " + it.Line
	}
	if m.Ask != nil {
		s += " " + m.Ask.Code
		for _, c := range m.Ask.Choices {
			s += " | " + c.Means
		}
	}
	return s
}

// A choice is picked by its label, by how the label begins, and by the grammar's
// own words.
func TestChoicesArePickedInEitherLanguage(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		tag, message string
		answers      map[string]int
	}{
		{"de", "AHU-3 bag 0 pa", map[string]int{"Ventilator aus": 0, "fan off": 0, "Nullpunktprüfung": 1, "zero check": 1, "0 Pa bei laufendem Ventilator": 2}},
		{"es", "AHU-3 bag 0 pa", map[string]int{"ventilador parado": 0, "fan off": 0, "comprobacion del cero": 1, "zero ok": 1}},
		{"es", "AHU-3 bag -150 pa", map[string]int{"menos": 1, "minus": 1, "plus": 0}},
		{"de", "AHU-3 bag 900 pa", map[string]int{"ja": 0, "ok": 0, "yes": 0, "nein": -1}},
		{"es", "AHU-3 bag 900 pa", map[string]int{"sí": 0, "si": 0, "ok": 0, "no": -1}},
		{"de", "skip AHU-3", map[string]int{"Technikraum verschlossen": 0, "locked": 0, "Manometer defekt": 2}},
		{"de", "book AHU-3 bag", map[string]int{"Mi": 1, "Wed": 1, "Di 10. Mär 07:30": 0}},
	} {
		sc := scopeNamed("demo")
		sc.In = locale.Of(c.tag)
		m := phrase.Understand(c.message, sc)
		if m.Ask == nil {
			t.Errorf("%s: asks nothing", c.message)
			continue
		}
		for answer, want := range c.answers {
			if got := phrase.Complete(answer, *m.Ask); got != want {
				t.Errorf("%s, %s: %q picks %d, want %d of %+v", c.tag, c.message, answer, got, want, m.Ask.Choices)
			}
		}
	}
}

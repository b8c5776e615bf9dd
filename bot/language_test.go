package bot_test

import (
	"slices"
	"strings"
	"testing"

	"clogwise/bot"
)

// exchange is what a person writes to a site and lines of the reply, in order.
type exchange struct {
	who, text string
	want      []string
}

// The language of the register's site decides what the bot answers; what people
// type stays the same. Dates and figures are those that the English tests hold.
func TestAnswersAreInTheLanguageOfTheSite(t *testing.T) {
	t.Parallel()
	for tag, talk := range map[string][]exchange{
		"de": {
			{tove, "AHU-3 bag 145 Pa at 45 Hz", []string{
				"AHU-3 Feinfilter: 145 Pa (0,58 in wc) bei 45 Hz; 166 Pa bei Nennluftstrom.",
				"Erreicht 200 Pa 31. Mai–1. Jul, am wahrscheinlichsten 13. Jun.",
				"Verschmutzung kostet jetzt 2,77\u00a0£ am Tag (11,5 kWh).",
				"Gespeichert als #74; rückgängig nimmt es zurück."}},
			{tove, "AHU-2 bags changed", []string{
				"AHU-2 Feinfilter: Filter gewechselt Sa 16. Mai 11:13.",
				"Unbestätigt, bis ergänzt: wie viele Filter und der Messwert mit sauberem Filter. Zum Beispiel eingeben: AHU-2 Feinfilter gewechselt, 4 Stück, sauber 70 Pa"}},
			{maren, "due", []string{
				"Quillford Clinic, Sa 16. Mai: 10 zu prüfen, 3 in Ordnung.",
				"OHNE AKTUELLEN MESSWERT  AHU-1 Vorfilter, nie abgelesen"}},
			{tove, "why AHU-3 bag", []string{
				"AHU-3 Feinfilter ist teilbeladen. Warum:",
				"Letzter Messwert 145 Pa (0,58 in wc) am 16. Mai; 166 Pa bei Nennluftstrom und Standardluft (Luftstrom aus der Drehzahl: gilt, solange Klappen stillstehen).",
				"Filter gewechselt 4. Mär, vor 1589 Betriebsstunden; seither zählen 12 Messwerte.",
				"Sauber sind es 64 Pa (beim Filterwechsel abgelesen); die Enddruckdifferenz ist 200 Pa."}},
			{tove, "undo", []string{"Zurückgenommen: #75 AHU-2 Feinfilter Filterwechsel. Bleibt durchgestrichen im Journal."}},
			{tove, "correction AHU-3 bag should be 135 Pa not 400 Pa", []string{
				"Kein Messwert von AHU-3 Feinfilter nahe 400 Pa (1,61 in wc) zu korrigieren. Welcher soll 135 Pa (0,54 in wc) sein? Noch nichts gespeichert."}},
			{tove, "stock QC-B600 4", []string{"Nicht gespeichert: Bestand zählen darf nur ein Objektleiter: Maren."}},
			{tove, "can I change AHU-3 with the fan running", []string{
				"Nein. Niemand arbeitet bei laufendem Ventilator in einem Gerät oder öffnet es, und dafür gebe ich keine Schritte. Zuerst freischalten (von allen Energiequellen trennen und gegen Wiedereinschalten sichern) oder die für die Lüftung verantwortliche Person fragen. Dein Objektleiter wird informiert."}},
			{tove, "AHU-3 150 Pa", []string{"Welche Filterstufe von AHU-3: Vorfilter oder Feinfilter? Noch nichts gespeichert."}},
		},
		"es": {
			{tove, "AHU-3 bag 145 Pa at 45 Hz", []string{
				"AHU-3 filtro fino: 145 Pa (0,58 in wc) a 45 Hz; 166 Pa con el caudal de diseño.",
				"Alcanza 200 Pa 31 may–1 jul, lo más probable el 13 jun.",
				"La suciedad cuesta ahora 2,77\u00a0£ al día (11,5 kWh).",
				"Guardado como #74; deshacer lo retira."}},
			{tove, "AHU-2 bags changed", []string{
				"AHU-2 filtro fino: filtros cambiados el sáb 16 may 11:13.",
				"Sin confirmar hasta que añadas cuántos filtros y la lectura con filtro limpio. Escribe por ejemplo: AHU-2 filtro fino cambiado, 4 uds, limpio 70 Pa"}},
			{maren, "due", []string{
				"Quillford Clinic, sáb 16 may: 10 por mirar, 3 en orden.",
				"SIN LECTURA RECIENTE  AHU-1 prefiltro, sin ninguna lectura"}},
			{tove, "why AHU-3 bag", []string{
				"AHU-3 filtro fino está ensuciándose. Por qué:",
				"Última lectura 145 Pa (0,58 in wc) el 16 may; 166 Pa con caudal de diseño y aire estándar (caudal según la velocidad del ventilador: vale mientras las compuertas no se muevan).",
				"Filtros cambiados el 4 mar, hace 1589 horas de marcha; desde entonces cuentan 12 lecturas.",
				"Limpio son 64 Pa (leído en el cambio de filtros); el límite es 200 Pa."}},
			{tove, "undo", []string{"Retirado: #75 AHU-2 filtro fino cambio de filtros. Queda en el diario, tachado."}},
			{tove, "correction AHU-3 bag should be 135 Pa not 400 Pa", []string{
				"No hay lectura de AHU-3 filtro fino cerca de 400 Pa (1,61 in wc) que corregir. ¿Cuál debe ser 135 Pa (0,54 in wc)? Nada guardado todavía."}},
			{tove, "stock QC-B600 4", []string{"No guardado: solo puede contar existencias un supervisor: Maren."}},
			{tove, "can I change AHU-3 with the fan running", []string{
				"No. Nadie trabaja dentro de una unidad ni la abre con el ventilador en marcha, y para eso no doy pasos. Primero hay que consignarla (separarla de todas las energías y bloquearla), o pregunta a la persona responsable de la ventilación. Se avisa a tu supervisor."}},
			{tove, "AHU-3 150 Pa", []string{"¿Qué etapa de AHU-3: prefiltro o filtro fino? Nada guardado todavía."}},
		},
	} {
		t.Run(tag, func(t *testing.T) {
			t.Parallel()
			r := newRigIn(t, tag)
			r.aged()
			for _, x := range talk {
				_, reply := r.says(x.who, x.text)
				lines := strings.Split(reply, "\n")
				for _, want := range x.want {
					i := slices.Index(lines, want)
					if i < 0 {
						t.Errorf("%q: no line %q after what is found already, in\n%s", x.text, want, reply)
						continue
					}
					lines = lines[i+1:]
				}
			}
		})
	}
}

// What tells a supervisor of danger says so in their language, as strongly as in
// English: who, what, that nothing was given, and what to do.
func TestDangerIsToldInTheLanguageOfTheSite(t *testing.T) {
	t.Parallel()
	for tag, want := range map[string][3]string{
		"de": {
			"Tove hat nach Schritten für Arbeit bei laufendem Ventilator gefragt. Ich habe keine gegeben. Bitte die Person anrufen, bevor irgendeine Arbeit beginnt.",
			"NOTFALL gemeldet von Tove: \"fire in ahu2\". Ich habe geantwortet, zuerst die örtliche Notrufnummer anzurufen, und nichts eingetragen. Jetzt sofort hingehen.",
			"Tove hat nach Schritten für EF-9 gefragt. Nur für Spezialisten, daher habe ich keine gegeben. Bitte das Spezialistenteam buchen.",
		},
		"es": {
			"Tove ha pedido pasos para trabajar con el ventilador en marcha. No he dado ninguno. Por favor, llama a esa persona antes de que empiece cualquier trabajo.",
			"EMERGENCIA comunicada por Tove: \"fire in ahu2\". He contestado que llame primero al número local de emergencias y no he registrado nada. Ve ahora mismo con esa persona.",
			"Tove ha pedido pasos para EF-9. Es solo para especialistas, así que no he dado ninguno. Por favor, programa al equipo especialista.",
		},
	} {
		t.Run(tag, func(t *testing.T) {
			t.Parallel()
			r := newRigIn(t, tag)
			for _, text := range []string{"can I change AHU-3 with the fan running", "fire in ahu2", "steps EF-9"} {
				r.says(tove, text)
			}
			got := r.supervisorPosts()
			for _, w := range want {
				if !slices.Contains(got, w) {
					t.Errorf("%q is not among %q", w, got)
				}
			}
		})
	}
}

// Buttons bear translated labels and answer to them, and to the English words.
func TestButtonsAreInTheLanguageOfTheSite(t *testing.T) {
	t.Parallel()
	for tag, label := range map[string]string{"en": "Undo", "de": "Zurücknehmen", "es": "Retirar"} {
		r := newRigIn(t, tag)
		m, _ := r.says(tove, "AHU-3 bag 70 Pa")
		p, err := r.store.Post(t.Context(), bot.ReplyKey(m))
		must(t, err)
		if len(p.Post.Choices) == 0 {
			t.Errorf("%s: no button under %q", tag, p.Post.Text)
			continue
		}
		c := p.Post.Choices[0]
		if c.Label != label || !slices.Contains(c.Keys, "undo") || !slices.Contains(c.Keys, strings.ToLower(label)) {
			t.Errorf("%s: %+v", tag, c)
		}
		r.press(tove, m, label)
		r.wantStanding()
	}
}

package say

import (
	"fmt"
	"strings"

	"clogwise/internal/entry"
	"clogwise/internal/locale"
)

// Unlikely asks whether what can hardly be is so.
func Unlikely(in locale.Locale, doubts []string) string {
	return strings.Join(doubts, " ") + " " + in.Text("Is that right? Nothing saved yet.")
}

// FarFromDesign holds an airflow against that of the design, m³/s.
func FarFromDesign(in locale.Locale, tag string, m3s, design float64) string {
	places := 1
	if m3s < design {
		places = 2
	}
	return in.Text("%s m³/s is %s times the design airflow of %s.", in.Number(m3s, 2), in.Number(m3s/design, places), tag)
}

// SlowFan says that a fan can hardly run so slowly.
func SlowFan(in locale.Locale, tag string, pct float64) string {
	return in.Text("%s %% is very slow for the fan of %s.", in.Number(pct, 0), tag)
}

// CountDiffers holds a number of filters against the register's.
func CountDiffers(in locale.Locale, name string, registered, said int) string {
	return in.Text("The register says %d filters for %s, not %d.", registered, name, said)
}

// SwapAgain names the change-out that was recorded shortly before.
func SwapAgain(s Setting, name string, last entry.Entry) string {
	return s.In.Text("The change-out of %s is already recorded, as #%d of %s. Was it changed again?", name, last.Seq, s.moment(last.At))
}

// ClassTooLow warns of a filter below the class that a bank requires.
func ClassTooLow(in locale.Locale, item, class, name, required string) string {
	return in.Text("%s is %s; %s requires %s.", item, class, name, required)
}

// DoesNotFit warns of a filter whose front no place of a bank has, mm.
func DoesNotFit(in locale.Locale, item string, width, height int, name, fronts string) string {
	return in.Text("%s is %s mm; %s takes %s.", item, Front(width, height), name, fronts)
}

// Front prints the size of a filter's front, mm.
func Front(width, height int) string { return fmt.Sprintf("%d×%d", width, height) }

// ReadHighAfter holds a late change-out against a reading that followed it.
func ReadHighAfter(s Setting, name string, x entry.Entry, r entry.Reading, cleanPa float64) string {
	return s.In.Text("%s read %s at %s, after that change-out, far above a clean reading of %s.", name, s.pressure(r.Pa), s.moment(x.At), s.pressure(cleanPa))
}

package say

import "clogwise/internal/locale"

// bases are the words in which assessments keep how a reading was brought to design
// airflow, where a clean value is from, and what limits an energy figure. Other such
// words hold figures; those stay as they are kept.
var bases = map[string]bool{
	locale.Mark("airflow not given: taken as design"):                                                true,
	locale.Mark("airflow not given and it varies: taken as design"):                                  true,
	locale.Mark("airflow not given and fan speed fixed: taken as design, the true figure is higher"): true,
	locale.Mark("airflow not given, fan control not known: taken as design"):                         true,
	locale.Mark("design airflow of the unit is missing: not corrected"):                              true,
	locale.Mark("fan above its design speed to hold airflow: taken as design"):                       true,
	locale.Mark("airflow by fan speed, less as filters load: the true figure is higher"):             true,
	locale.Mark("airflow by fan speed: holds while dampers stand still"):                             true,
	locale.Mark("airflow by fan curve: holds while dampers stand still"):                             true,
	locale.Mark("measured flow"):          true,
	locale.Mark("read at the change-out"): true,
	locale.Mark("usual for this stage"):   true,
	locale.Mark("register"):               true,
	locale.Mark("fan control not known: at most this, nothing if its speed is fixed"): true,
	locale.Mark("fan speed is fixed: dirt costs airflow, no energy is claimed"):       true,
	locale.Mark("design airflow of the unit is missing: no energy figure"):            true,
	locale.Mark("No gauge: no energy figure."):                                        true,
}

// basis says such words.
func basis(english string, in locale.Locale) string {
	if !bases[english] {
		return english
	}
	return in.Say(english)
}

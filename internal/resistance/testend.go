package resistance

import "clogwise/internal/units"

// MERVFinalPa is the final resistance up to which a filter is loaded when it is
// tested for a MERV: twice its initial resistance and at least 0.3, 0.6, 1.0 or
// 1.4 in wg by its class (ASHRAE 52.2). Zero outside MERV 1 to 16.
func MERVFinalPa(merv int, initialPa float64) float64 {
	if merv < 1 || merv > 16 {
		return 0
	}
	least := [...]float64{0.3, 0.6, 1.0, 1.4}[(merv-1)/4]
	return max(2*initialPa, least*units.PaPerInH2O)
}

// DustTest is how the dust that a filter holds was measured.
type DustTest struct {
	EndPa float64 // resistance at which loading ends
	Dust  string  // synthetic test dust, as the standard calls it
}

// DustTestOf returns the loading test behind the dust capacity of a class: EN 779
// with ASHRAE dust (L1) to 250 Pa coarse and 450 Pa fine; ISO 16890-3 with ISO
// 12103-1 A2 dust (L2) to 200 Pa coarse and 300 Pa fine. False for other systems:
// ASHRAE 52.2 ends where MERVFinalPa says.
func DustTestOf(c Class) (DustTest, bool) {
	switch {
	case c.System == EN779 && c.IsCoarse():
		return DustTest{250, "L1"}, true
	case c.System == EN779:
		return DustTest{450, "L1"}, true
	case c.System == ISO16890 && c.IsCoarse():
		return DustTest{200, "L2"}, true
	case c.System == ISO16890:
		return DustTest{300, "L2"}, true
	}
	return DustTest{}, false
}

// EN779Of returns the class of EN 779:2012 from the average arrestance of coarse
// dust, the average efficiency for 0.4 µm and the lowest one, all in per cent.
// False for a filter below G1.
func EN779Of(arrestance, efficiency, lowest float64) (Class, bool) {
	for i := len(en779Limits) - 1; i >= 0; i-- {
		l := en779Limits[i]
		if arrestance >= l.arrestance && efficiency >= l.efficiency && lowest >= l.lowest {
			return Class{System: EN779, Group: en[i], Rank: i + 1}, true
		}
	}
	return Class{}, false
}

// en779Limits are the lowest figures of G1 to F9, %.
var en779Limits = [...]struct{ arrestance, efficiency, lowest float64 }{
	{50, 0, 0}, {65, 0, 0}, {80, 0, 0}, {90, 0, 0},
	{0, 40, 0}, {0, 60, 0}, {0, 80, 35}, {0, 90, 55}, {0, 95, 70},
}

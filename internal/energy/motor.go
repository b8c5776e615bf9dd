package energy

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// ErrMotor is returned for a motor class or size that the table does not hold.
var ErrMotor = errors.New("motor efficiency not known")

// motorKW are the rated powers of the table below.
var motorKW = [...]float64{
	0.75, 1.1, 1.5, 2.2, 3, 4, 5.5, 7.5, 11, 15, 18.5,
	22, 30, 37, 45, 55, 75, 90, 110, 132, 160, 200,
}

// motorEta are nominal efficiencies in per cent of four-pole motors at 50 Hz
// (IEC 60034-30-1).
var motorEta = map[string][len(motorKW)]float64{
	"IE1": {
		72.1, 75.0, 77.2, 79.7, 81.5, 83.1, 84.7, 86.0, 87.6, 88.7, 89.3,
		89.9, 90.7, 91.2, 91.7, 92.1, 92.7, 93.0, 93.3, 93.5, 93.8, 94.0,
	},
	"IE2": {
		79.6, 81.4, 82.8, 84.3, 85.5, 86.6, 87.7, 88.7, 89.8, 90.6, 91.2,
		91.6, 92.3, 92.7, 93.1, 93.5, 94.0, 94.2, 94.5, 94.7, 94.9, 95.1,
	},
	"IE3": {
		82.5, 84.1, 85.3, 86.7, 87.7, 88.6, 89.6, 90.4, 91.4, 92.1, 92.6,
		93.0, 93.6, 93.9, 94.2, 94.6, 95.0, 95.2, 95.4, 95.6, 95.8, 96.0,
	},
	"IE4": {
		85.7, 87.2, 88.2, 89.5, 90.4, 91.1, 91.9, 92.6, 93.3, 93.9, 94.2,
		94.5, 94.9, 95.2, 95.4, 95.7, 96.0, 96.1, 96.3, 96.4, 96.6, 96.7,
	},
}

// MotorEfficiency returns the nominal efficiency 0..1 of a four-pole 50 Hz motor
// of an IEC 60034-30-1 class and rated power, between the sizes of the table by
// interpolation over the logarithm of power. It returns ErrMotor for classes
// other than IE1 to IE4 and for powers outside 0.75 to 200 kW: enter the nameplate
// efficiency there.
func MotorEfficiency(class string, kw float64) (float64, error) {
	row, ok := motorEta[strings.ToUpper(strings.TrimSpace(class))]
	if !ok {
		return 0, fmt.Errorf("%w: class %q, the table holds IE1 to IE4", ErrMotor, class)
	}
	last := len(motorKW) - 1
	if !(kw >= motorKW[0] && kw <= motorKW[last]) {
		return 0, fmt.Errorf("%w: %g kW is out of range, the table holds %g to %g kW; enter the nameplate efficiency", ErrMotor, kw, motorKW[0], motorKW[last])
	}
	i := 1
	for kw > motorKW[i] {
		i++
	}
	t := math.Log(kw/motorKW[i-1]) / math.Log(motorKW[i]/motorKW[i-1])
	return (row[i-1] + t*(row[i]-row[i-1])) / 100, nil
}

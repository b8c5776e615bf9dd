package energy

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"clogwise/internal/plant"
)

// Efficiency is the overall efficiency of a fan from air to the meter.
type Efficiency struct {
	Eta    float64 // 0..1
	Source string  // how it came about, for people
}

// defaultEta is the reference efficiency of Eurovent 4/21 for air filters.
const defaultEta = 0.5

// Parts taken where only the fan's own efficiency is given (from memory, typical
// values): said in Source whenever used.
const typicalMotor = 0.90

// EfficiencyOf returns the overall efficiency: as given, else fan × belt × motor
// × drive, with the motor from its IEC 60034-30-1 class and size. Belt and drive
// that are not given count as none. Without a fan efficiency it is 0.5, the
// reference of Eurovent 4/21. Source says which.
func EfficiencyOf(e plant.Efficiency) Efficiency {
	switch {
	case share(e.Overall):
		return Efficiency{e.Overall, "overall, register"}
	case !share(e.Fan):
		return Efficiency{defaultEta, "not given: taken as 0.50, reference of Eurovent 4/21"}
	}
	eta := e.Fan
	said := []string{fmt.Sprintf("fan %.2f", e.Fan)}
	motor, how := motorOf(e)
	eta *= motor
	said = append(said, how)
	if share(e.Belt) {
		eta *= e.Belt
		said = append(said, fmt.Sprintf("belt %.2f", e.Belt))
	}
	if share(e.Drive) {
		eta *= e.Drive
		said = append(said, fmt.Sprintf("drive %.2f", e.Drive))
	}
	return Efficiency{eta, strings.Join(said, " × ")}
}

func share(x float64) bool { return x > 0 && x <= 1 }

func motorOf(e plant.Efficiency) (float64, string) {
	if share(e.Motor) {
		return e.Motor, fmt.Sprintf("motor %.2f", e.Motor)
	}
	if e.MotorClass != "" {
		eta, err := MotorEfficiency(e.MotorClass, e.MotorKW)
		if err == nil {
			return eta, fmt.Sprintf("motor %.3f (%s, %g kW)", eta, strings.ToUpper(e.MotorClass), e.MotorKW)
		}
		return typicalMotor, fmt.Sprintf("motor taken as %.2f (%v)", typicalMotor, err)
	}
	return typicalMotor, fmt.Sprintf("motor not given: taken as %.2f", typicalMotor)
}

// ErrMotor is returned for a motor class or size that the table does not hold.
var ErrMotor = errors.New("motor efficiency not known")

// motorSizes and motorEta are nominal efficiencies in per cent of four-pole
// motors at 50 Hz (IEC 60034-30-1).
var (
	motorSizes = [...]float64{5.5, 7.5, 11}
	motorEta   = map[string][len(motorSizes)]float64{
		"IE2": {87.7, 88.7, 89.8},
		"IE3": {89.6, 90.4, 91.4},
		"IE4": {91.9, 92.6, 93.3},
	}
)

// MotorEfficiency returns the nominal efficiency 0..1 of a four-pole 50 Hz motor
// of an IEC 60034-30-1 class and rated power, between the sizes held by
// interpolation over the logarithm of power. It returns ErrMotor for classes
// other than IE2 to IE4 and for powers outside 5.5 to 11 kW: enter the nameplate
// efficiency there.
func MotorEfficiency(class string, kw float64) (float64, error) {
	row, ok := motorEta[strings.ToUpper(strings.TrimSpace(class))]
	if !ok {
		return 0, fmt.Errorf("%w: class %q, the table holds IE2, IE3 and IE4", ErrMotor, class)
	}
	last := len(motorSizes) - 1
	if !(kw >= motorSizes[0] && kw <= motorSizes[last]) {
		return 0, fmt.Errorf("%w: %g kW is out of range, the table holds %g to %g kW; enter the nameplate efficiency", ErrMotor, kw, motorSizes[0], motorSizes[last])
	}
	i := 1
	for kw > motorSizes[i] {
		i++
	}
	t := math.Log(kw/motorSizes[i-1]) / math.Log(motorSizes[i]/motorSizes[i-1])
	return (row[i-1] + t*(row[i]-row[i-1])) / 100, nil
}

package energy

import (
	"fmt"
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

package forecast

// Observation is one reading of a filter life.
type Observation struct {
	X        float64 // since change-out, in axis units (run hours unless the caller chose otherwise)
	Pa       float64 // resistance corrected to design airflow and 1.20 kg/m³, Pa
	Weight   float64 // 0..1, information relative to a reading at design airflow; 0 leaves the reading out
	StepPa   float64 // gauge resolution after correction, Pa: the true value lies within ±StepPa/2; 0 = exact
	Censored bool    // over range: the true value is at or above Pa
	Doubtful bool    // kept for the picture, does not move the forecast
}

// Life is the filter life being forecast. Order of Obs does not matter.
// A reading given twice counts twice: the caller's ledger removes duplicates.
type Life struct {
	Obs     []Observation
	CleanPa float64 // known clean resistance at design airflow, Pa; 0 = unknown
	LimitPa float64 // final resistance at design airflow, Pa
	NowX    float64 // axis value now, same units as Observation.X
}

// FinishedLife is a life that ended in a change-out: what priors learn from.
type FinishedLife struct {
	Obs  []Observation
	EndX float64 // axis value when the limit was reached, or at the change-out

	// ReachedLimit says that LimitPa was reached at EndX. When the filters were
	// changed before, or nobody knows, it is false and the life counts as
	// right-censored: readings still teach shape, clean value and a lower bound
	// of the life.
	ReachedLimit bool
	LimitPa      float64 // limit in force, Pa
	Group        string  // bank id: lives of one group share a level
	CleanPa      float64 // Pa; 0 = unknown
}

package resistance

// DustFedG is the dust that an airflow carries to a filter in grams: flow in
// m³/s, concentration in µg/m³, run hours. How much of it stays is the filter's
// business.
func DustFedG(flowM3s, ugPerM3, hours float64) float64 {
	return flowM3s * 3600 * ugPerM3 * 1e-6 * hours
}

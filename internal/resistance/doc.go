// Package resistance relates the resistance of a filter bank to the air that
// flows through it: air density and viscosity, the law of resistance against
// airflow, the correction of a reading to design airflow and 1.20 kg/m³, filter
// classes, and the final resistance at which a bank is to be changed.
//
// Everything is SI: Pa, m³/s, kg/m³, °C. The package is pure.
package resistance

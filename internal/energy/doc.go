// Package energy says what the resistance of a filter bank costs: fan power,
// energy, money and carbon over clean filters, airflow lost where the fan's speed
// is fixed, the interval of change-outs that costs least, and whether another
// item would cost less.
//
// Everything is SI: Pa, m³/s, W, kWh, run hours. Money is exact decimal in what
// is returned; optimisation works on floats inside. The package is pure.
package energy

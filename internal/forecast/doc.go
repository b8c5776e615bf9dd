// Package forecast says when a filter bank reaches its final resistance, and
// how sure that is.
//
// It works on one axis x counted from the change-out (run hours, air moved or
// dust fed) and on resistance in Pa already corrected to design airflow.
// Turning x into dates is the caller's business.
//
// # Use
//
//	class := forecast.ClassPrior("secondary")       // before any life has ended
//	fleet := forecast.Learn(class, finishedLives)   // all finished lives of like banks
//	bank  := fleet.ForBank(ownFinishedLives)        // this bank's own
//	post  := forecast.Fit(bank, forecast.Life{Obs: obs, CleanPa: 60, LimitPa: 200, NowX: 1200})
//	post.Remaining(0.5), post.Remaining(0.1), post.Remaining(0.9)
//
// All functions are pure: same arguments, same result to the last bit, in any
// order of readings and lives. There is no sampling.
package forecast

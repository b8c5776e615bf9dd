package duelist

import (
	"math"
	"time"
)

// Settings are the thresholds of Classify and the hours a list looks ahead.
// The defaults are common practice, not a standard.
type Settings struct {
	SoonDays     int     // "due soon" looks this many days ahead
	SoonChance   float64 // chance of reaching the limit within SoonDays that makes a bank "due soon"
	DueChance    float64 // chance of having reached it already that makes it "due"
	CleanShare   float64 // share of the way from clean to limit below which a bank is "clean", 0..1
	UnreadFactor float64 // "unread" when the last reading is older than this many reading intervals
	ReadEvery    int     // days between readings where the register gives none
}

// DefaultSettings are the thresholds used where the site sets none.
func DefaultSettings() Settings {
	return Settings{SoonDays: 14, SoonChance: 0.5, DueChance: 0.5, CleanShare: 0.1, UnreadFactor: 3, ReadEvery: 7}
}

// SoonBy is the moment for which Evidence.BySoon is asked.
func (s Settings) SoonBy(now time.Time) time.Time { return now.AddDate(0, 0, s.SoonDays) }

// Evidence is what a bank is judged by. Pressures are at design airflow.
type Evidence struct {
	LifeStart time.Time // last change-out; zero = not known
	LastRead  time.Time // newest reading that counts; zero = none in this life
	ReadEvery int       // days between readings owed; 0 = Settings.ReadEvery
	NoGauge   bool      // no gauge fitted: judged by age and run hours alone

	SeenPa  float64 // newest reading that counts; 0 = none
	PaNow   float64 // by the forecast's curve; 0 = not known
	CleanPa float64
	LimitPa float64
	// ByNow and BySoon are the chances, 0..1, that the final resistance is
	// reached by now and by Settings.SoonBy; NaN when there is no forecast.
	ByNow, BySoon float64

	CapAt    time.Time // earliest of age and run-hour caps; zero = none
	Doubtful bool      // an open finding makes the readings unfit to judge by
}

// Classify names the condition of a bank. The first rule that holds decides:
//
//  1. overdue: a cap has passed, or a sound reading is at the limit or above;
//  2. doubtful: an open finding blocks judgement;
//  3. unread: the newest reading, or the change-out if later, is older than
//     UnreadFactor reading intervals, or there is neither;
//  4. due: the limit is reached by now with at least DueChance;
//  5. due soon: it, or a cap, is reached within SoonDays with at least SoonChance;
//  6. clean: less than CleanShare of the way from clean to limit;
//  7. loading: the rest.
//
// What is certain goes before what is doubted: an age cap passes whether or not
// anybody reads the gauge, and a filter seen past its limit does not get better
// by being forgotten.
func Classify(e Evidence, s Settings, now time.Time) Condition {
	switch {
	case !e.CapAt.IsZero() && !now.Before(e.CapAt), e.LimitPa > 0 && e.SeenPa >= e.LimitPa && !e.Doubtful:
		return Overdue
	case e.Doubtful:
		return Doubtful
	case !e.NoGauge && e.unread(s, now):
		return Unread
	case e.ByNow >= s.DueChance:
		return Due
	case e.BySoon >= s.SoonChance, !e.CapAt.IsZero() && !e.CapAt.After(s.SoonBy(now)):
		return DueSoon
	case e.isClean(s):
		return Clean
	}
	return Loading
}

func (e Evidence) unread(s Settings, now time.Time) bool {
	last := e.LastRead
	if e.LifeStart.After(last) {
		last = e.LifeStart
	}
	every := e.ReadEvery
	if every <= 0 {
		every = s.ReadEvery
	}
	patience := time.Duration(float64(every) * s.UnreadFactor * 24 * float64(time.Hour))
	return last.IsZero() || now.Sub(last) > patience
}

func (e Evidence) isClean(s Settings) bool {
	loaded := e.PaNow - e.CleanPa
	room := e.LimitPa - e.CleanPa
	return e.PaNow > 0 && room > 0 && !math.IsNaN(loaded) && loaded < s.CleanShare*room
}

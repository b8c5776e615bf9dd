package plant

import (
	"math/rand/v2"
	"testing"
	"time"
)

// The short way to a local day finds the very day that the calendar does, in
// zones whose clocks change at night, at midnight, by half an hour and by a day.
func TestPlainDayIsTheCalendarsDay(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, zone := range []string{"UTC", "Europe/Berlin", "America/New_York", "America/Sao_Paulo", "Africa/Cairo", "Asia/Kolkata", "Australia/Lord_Howe", "Pacific/Apia", "America/Havana"} {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		r := Schedule{}.Runner(loc)
		plain := 0
		for range 20_000 {
			at := time.Unix(rng.Int64N(4_000_000_000)-500_000_000, rng.Int64N(1e9))
			d, ok := plainDay(at.In(loc))
			if !ok {
				continue
			}
			plain++
			if want := r.calendarDay(at); d != want {
				t.Fatalf("%s at %s: %+v, want %+v", zone, at.In(loc), d, want)
			}
		}
		if plain < 19_000 {
			t.Errorf("%s: %d of 20000 days are plain: the short way is of no use", zone, plain)
		}
	}
}

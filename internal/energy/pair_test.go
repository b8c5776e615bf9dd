package energy_test

import (
	"errors"
	"math"
	"testing"

	"clogwise/internal/energy"
)

// pair has straight lines for both banks, so that every policy has a closed form.
func pair() energy.Pair {
	primary, secondary := plan(ramp(50, 150, 2000)), plan(ramp(80, 200, 6000))
	primary.ChangeCost, primary.CleanPa = 250, 50
	secondary.ChangeCost, secondary.CleanPa = 900, 80
	return energy.Pair{Primary: primary, Secondary: secondary}
}

func TestPairPolicies(t *testing.T) {
	t.Parallel()
	p := pair()
	got, err := energy.PairPolicies(p)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 12 {
		t.Fatalf("%d policies, want 12", len(got))
	}
	// g(h) = (C₁ + C₂/k)/h + c k (r₁ + k r₂) h/2, so h* = √(2(C₁ + C₂/k)/(c k (r₁ + k r₂))).
	r1, r2 := 100.0/2000, 120.0/6000
	for _, x := range got {
		k := float64(x.K)
		cost, slope := 250+900/k, p.Primary.PerPaHour*(r1+k*r2)
		within(t, "primary interval", x.PrimaryHours, math.Sqrt(2*cost/slope), 2e-3, computed)
		within(t, "cost", x.PerHour, math.Sqrt(2*cost*slope), 1e-5, computed)
		within(t, "secondary interval", x.SecondaryHours, k*x.PrimaryHours, 1e-12, "K primaries each")
	}
	best, ok := energy.BestPair(got)
	// Least of (C₁ + C₂/k)(r₁ + k r₂) at k = √(C₂ r₁/(C₁ r₂)) = 3.
	if !ok || best.K != 3 {
		t.Errorf("best is %d primaries per secondary, want 3 (computed)", best.K)
	}
	if _, ok := energy.BestPair(nil); ok {
		t.Error("best of none")
	}
}

func TestPairRespectsLimits(t *testing.T) {
	t.Parallel()
	p := pair()
	p.Primary.LimitHours, p.Secondary.LimitHours = 1500, 4000
	p.Effect = energy.Neglect(1000, 3)
	got, err := energy.PairPolicies(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range got {
		if x.PrimaryHours > 1500 || x.Effect*x.SecondaryHours > 4000*(1+1e-9) {
			t.Errorf("K %d: %+v beyond a limit", x.K, x)
		}
	}
}

// A secondary that loads more slowly than its curve may stay longer than that, but
// not beyond its cap on age.
func TestPairMayLastLonger(t *testing.T) {
	t.Parallel()
	p := pair()
	p.Primary.LimitHours, p.Secondary.LimitHours = 1500, 4000
	p.Secondary.ChangeCost = 3000 // so dear that it is worth waiting for the limit
	p.Effect = func(float64) float64 { return 0.8 }
	for _, c := range []struct{ capHours, want float64 }{{0, 5000}, {4500, 4500}} { // 4000 h of dust at 0.8 of the pace
		p.SecondaryCap = c.capHours
		got, err := energy.PairPolicies(p)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "secondary of four primaries", got[3].SecondaryHours, c.want, 1e-6, computed)
	}
}

// A secondary that loads f times as fast all along rises f times as steeply: the closed
// form above with f r₂.
func TestPairOfAFasterSecondary(t *testing.T) {
	t.Parallel()
	for _, f := range []float64{0.7, 1.6} {
		p := pair()
		p.Effect = func(float64) float64 { return f }
		got, err := energy.PairPolicies(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range got {
			k := float64(x.K)
			cost, slope := 250+900/k, p.Primary.PerPaHour*(100.0/2000+k*f*120/6000)
			within(t, "primary interval", x.PrimaryHours, math.Sqrt(2*cost/slope), 2e-3, computed)
			within(t, "cost", x.PerHour, math.Sqrt(2*cost*slope), 1e-5, computed)
		}
	}
}

func TestPairEffectAndSharedVisit(t *testing.T) {
	t.Parallel()
	plain, err := energy.PairPolicies(pair())
	if err != nil {
		t.Fatal(err)
	}
	neglected := pair()
	neglected.Effect = energy.Neglect(1000, 3)
	dear, err := energy.PairPolicies(neglected)
	if err != nil {
		t.Fatal(err)
	}
	joint := pair()
	joint.Shared = 100
	cheap, err := energy.PairPolicies(joint)
	if err != nil {
		t.Fatal(err)
	}
	for i := range plain {
		if dear[i].PerHour < plain[i].PerHour*(1-1e-9) {
			t.Errorf("K %d: neglect makes it cheaper", plain[i].K)
		}
		if plain[i].PrimaryHours > 1200 && !(dear[i].PrimaryHours < plain[i].PrimaryHours) {
			t.Errorf("K %d: neglect must bring primaries forward: %g then %g h", plain[i].K, plain[i].PrimaryHours, dear[i].PrimaryHours)
		}
		if !(cheap[i].PerHour < plain[i].PerHour) {
			t.Errorf("K %d: a shared visit must save", plain[i].K)
		}
	}
	bad := pair()
	bad.Secondary.ChangeCost = -1
	if _, err := energy.PairPolicies(bad); !errors.Is(err, energy.ErrInterval) {
		t.Errorf("%v, want ErrInterval", err)
	}
}

func TestNeglect(t *testing.T) {
	t.Parallel()
	effect := energy.Neglect(1000, 3)
	for h, want := range map[float64]float64{0: 1, 500: 1, 1000: 1, 2000: 2, 4000: 2.5} { // mean over the primary's life
		within(t, "effect", effect(h), want, 1e-12, computed)
	}
}

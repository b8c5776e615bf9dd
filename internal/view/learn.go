package view

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"clogwise/internal/assess"
	"clogwise/internal/forecast"
	"clogwise/internal/plant"
)

// LearnPriors learns each stage's prior, and each site's season, from the
// finished lives in the projections and stores them. It reads one site's at a
// time and keeps a sample of the fleet's.
func (v *View) LearnPriors(ctx context.Context, now time.Time) error {
	reg, err := v.Register(ctx)
	if err != nil {
		return err
	}
	head, err := v.Store.Head(ctx)
	if err != nil {
		return err
	}
	var s school
	for _, site := range reg.Sites() {
		ps, err := v.Store.Projections(ctx, plant.BankID(site.ID))
		if err != nil {
			return err
		}
		for _, p := range ps {
			var a struct {
				Lives      []forecast.FinishedLife `json:"lives"`
				LifeMonths [][12]float64           `json:"life_months"`
			}
			if err := json.Unmarshal(p.Data, &a); err != nil {
				return fmt.Errorf("projection of %s: %w", p.Bank, err)
			}
			s.add(reg, p.Bank, assess.Past{Lives: a.Lives, Months: a.LifeMonths})
		}
	}
	return v.teach(ctx, reg, &s, head, now)
}

// school gathers what the fleet's finished lives teach. The zero value is empty.
type school struct {
	lives  map[plant.Stage]*forecast.Sample
	months map[string][]forecast.SeasonLife // by site
}

// add takes the past of a bank; one that is not in the register teaches nothing.
func (s *school) add(reg *plant.Register, bank plant.BankID, past assess.Past) {
	b, ok := reg.Bank(bank)
	if !ok {
		return
	}
	if s.lives == nil {
		s.lives, s.months = map[plant.Stage]*forecast.Sample{}, map[string][]forecast.SeasonLife{}
	}
	if s.lives[b.Stage] == nil {
		s.lives[b.Stage] = &forecast.Sample{}
	}
	s.lives[b.Stage].Add(past.Lives)
	s.months[bank.Site()] = append(s.months[bank.Site()], monthsOf(bank, past)...)
}

// monthsOf is what the past of a bank says of its site's season.
func monthsOf(bank plant.BankID, past assess.Past) []forecast.SeasonLife {
	out := make([]forecast.SeasonLife, len(past.Months))
	for i, m := range past.Months {
		out[i] = forecast.SeasonLife{Group: string(bank), Hours: m}
	}
	return out
}

// teach learns from what was gathered of the entries up to head, and stores it.
func (v *View) teach(ctx context.Context, reg *plant.Register, s *school, head int64, now time.Time) error {
	if err := v.teachStages(ctx, s.lives, head, now); err != nil {
		return err
	}
	for _, site := range reg.Sites() {
		if _, err := v.teachSeason(ctx, site.ID, s.months[site.ID], head, now); err != nil {
			return err
		}
	}
	return nil
}

// stages are those that have a prior of their own.
var stages = [...]plant.Stage{plant.Primary, plant.Secondary, plant.Third, plant.Return}

// teachStages learns and stores the prior of each stage, side by side: for a big
// fleet each is some seconds' work.
func (v *View) teachStages(ctx context.Context, lives map[plant.Stage]*forecast.Sample, head int64, now time.Time) error {
	g, ctx := errgroup.WithContext(ctx)
	for _, stage := range stages {
		g.Go(func() error {
			prior, taught := forecast.ClassPrior(string(stage)), false
			if sample := lives[stage]; sample != nil {
				if lives := sample.Lives(); len(lives) > 0 {
					prior, taught = forecast.Learn(prior, lives), true
				}
			}
			return v.learnt(ctx, priorPlace(stage), prior, taught, head, now)
		})
	}
	return g.Wait()
}

// teachSeason learns and stores the season of a site; nil where there is none.
func (v *View) teachSeason(ctx context.Context, site string, months []forecast.SeasonLife, head int64, now time.Time) (*forecast.Season, error) {
	season := forecast.LearnSeason(months)
	flat := season == forecast.FlatSeason()
	if err := v.learnt(ctx, seasonPlace(site), season, !flat, head, now); err != nil || flat {
		return nil, err
	}
	return &season, nil
}

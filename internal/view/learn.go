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
	for _, m := range past.Months {
		s.months[bank.Site()] = append(s.months[bank.Site()], forecast.SeasonLife{Group: string(bank), Hours: m})
	}
}

// teach learns from what was gathered of the entries up to head, and stores it.
func (v *View) teach(ctx context.Context, reg *plant.Register, s *school, head int64, now time.Time) error {
	g, stageCtx := errgroup.WithContext(ctx) // each stage is some seconds' work for a big fleet
	for _, stage := range []plant.Stage{plant.Primary, plant.Secondary, plant.Third, plant.Return} {
		g.Go(func() error {
			prior, taught := forecast.ClassPrior(string(stage)), false
			if sample := s.lives[stage]; sample != nil {
				if lives := sample.Lives(); len(lives) > 0 {
					prior, taught = forecast.Learn(prior, lives), true
				}
			}
			return v.learnt(stageCtx, priorPlace(stage), prior, taught, head, now)
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for _, site := range reg.Sites() {
		season := forecast.LearnSeason(s.months[site.ID])
		if err := v.learnt(ctx, seasonPlace(site.ID), season, season != forecast.FlatSeason(), head, now); err != nil {
			return err
		}
	}
	return nil
}

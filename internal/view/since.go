package view

import (
	"context"
	"time"

	"clogwise/internal/digest"
	"clogwise/internal/plant"
)

// Since is what happened at a site between two digests.
func (v *View) Since(ctx context.Context, site plant.Site, from, to time.Time) (digest.Since, error) {
	return digest.Since{}, nil
}

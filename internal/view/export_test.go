package view

import (
	"context"
	"time"
)

// RebuildWithin is Rebuild with room for so many entries of a site in memory.
func RebuildWithin(ctx context.Context, v *View, now time.Time, room int) (int, error) {
	return v.rebuild(ctx, now, room, nil)
}

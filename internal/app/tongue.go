package app

import (
	"context"
	"slices"

	"clogwise/internal/locale"
)

// tongue is the language spoken in a channel, or with a person: that of the first
// site whose channel it is or who they work for.
func (a *App) tongue(ctx context.Context, platform, place string) locale.Locale {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return locale.Locale{}
	}
	for _, s := range reg.Sites() {
		if s.Channel == place || s.Channel == platform+":"+place {
			return locale.Of(s.Language)
		}
	}
	for _, s := range reg.Sites() {
		if slices.Contains(s.Supervisors, place) || slices.Contains(s.Crew, place) {
			return locale.Of(s.Language)
		}
	}
	return locale.Locale{}
}

package worker

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
)

// unmappedShown bounds the points named in one post.
const unmappedShown = 3

// unmapped tells a site's supervisors of points that began to send since the
// last time and that nobody has mapped.
func (p Posts) unmapped(ctx context.Context, site plant.Site, f Firing) (ledger.Batch, error) {
	book := &pointbook.Book{Store: p.Store, View: p.View}
	all, err := book.Unknown(ctx)
	if err != nil {
		return ledger.Batch{}, err
	}
	reg, err := p.View.Register(ctx)
	if err != nil {
		return ledger.Batch{}, err
	}
	fresh := slices.DeleteFunc(all, func(u pointbook.Unknown) bool {
		return !u.New.After(f.Last) || !concerns(reg, u, site.ID)
	})
	if len(fresh) == 0 {
		return ledger.Batch{}, nil
	}
	return ledger.Batch{Posts: []ledger.OutboxPost{p.post(f.Key, site, channel.Post{Text: unmappedText(fresh)})}}, nil
}

// concerns reports whether a point is a site's to map: its sender may write
// there. Of a sender who may write anywhere the first site is told.
func concerns(reg *plant.Register, u pointbook.Unknown, site string) bool {
	if len(u.Sites) == 0 {
		sites := reg.Sites()
		return len(sites) > 0 && sites[0].ID == site
	}
	return u.Sites[0] == site
}

func unmappedText(us []pointbook.Unknown) string {
	noun := "points send values that nobody has"
	if len(us) == 1 {
		noun = "point sends values that nobody has"
	}
	lines := []string{fmt.Sprintf("%d %s mapped; they are kept and count once somebody does:", len(us), noun)}
	for _, u := range us[:min(len(us), unmappedShown)] {
		value := ""
		if u.Value != nil {
			value = strings.TrimSpace(fmt.Sprintf(", last %g %s", *u.Value, u.Unit))
		}
		lines = append(lines, fmt.Sprintf("%s from %s: %d values%s", u.Point, u.By, u.Count, value))
	}
	end := "Say what one measures: clogwise points map NAME PLACE"
	if more := len(us) - unmappedShown; more > 0 {
		end = fmt.Sprintf("and %d more (clogwise points unknown). ", more) + end
	}
	return strings.Join(append(lines, end), "\n")
}

package worker

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/locale"
	"clogwise/internal/plant"
	"clogwise/internal/pointbook"
)

// unmappedShown bounds the points named in one post.
const unmappedShown = 3

// unmapped tells a site's supervisors of points that began to send since the
// last time and that nobody has mapped.
func (p Posts) unmapped(ctx context.Context, site plant.Site, f Firing) (ledger.Batch, error) {
	all, err := p.book.Unknown(ctx)
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
	return ledger.Batch{Posts: []ledger.OutboxPost{p.post(f.Key, site, channel.Post{Text: unmappedText(locale.Of(site.Language), fresh)})}}, nil
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

func unmappedText(in locale.Locale, us []pointbook.Unknown) string {
	lines := []string{in.Count(len(us), "%d point sends values that nobody has mapped; they are kept and count once somebody does:",
		"%d points send values that nobody has mapped; they are kept and count once somebody does:")}
	for _, u := range us[:min(len(us), unmappedShown)] {
		line := in.Count(u.Count, "%[2]s from %[3]s: %[1]d value", "%[2]s from %[3]s: %[1]d values", u.Point, u.By)
		if u.Value != nil {
			line = strings.TrimSpace(line + in.Text(", last %s %s", in.Figures(strconv.FormatFloat(*u.Value, 'g', -1, 64)), u.Unit))
		}
		lines = append(lines, line)
	}
	end := in.Text("Say what one measures: clogwise points map NAME PLACE")
	if more := len(us) - unmappedShown; more > 0 {
		end = in.Text("and %d more (clogwise points unknown).", more) + " " + end
	}
	return strings.Join(append(lines, end), "\n")
}

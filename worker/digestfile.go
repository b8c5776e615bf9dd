package worker

import (
	"context"
	"strings"
	"time"

	"clogwise/internal/auditfile"
	"clogwise/internal/channel"
	"clogwise/internal/chart"
	"clogwise/internal/digest"
	"clogwise/internal/duelist"
	"clogwise/internal/plant"
)

// digestCharts bounds the pictures that go with a digest.
const digestCharts = 2

// charts draws the first banks of a digest that want looking at. One that cannot be
// drawn is left out: the digest must not wait for it.
func (p Posts) charts(ctx context.Context, b digest.Board) []channel.File {
	var out []channel.File
	for _, r := range b.Rows {
		switch r.Condition {
		case duelist.Overdue, duelist.Due, duelist.DueSoon, duelist.Doubtful:
		default:
			continue
		}
		in, err := p.View.Picture(ctx, r.Bank, b.Now)
		if err != nil {
			continue
		}
		png, err := chart.Bank(in)
		if err != nil {
			continue
		}
		out = append(out, channel.File{Name: strings.ReplaceAll(string(r.Bank), "/", "-") + ".png", Title: in.Title, Data: png})
		if len(out) == digestCharts {
			break
		}
	}
	return out
}

// digestFile is the workbook that goes with the weekly post, for the audit file.
func digestFile(b digest.Board, reg *plant.Register, since digest.Since) (channel.File, error) {
	data, err := auditfile.XLSX(auditfile.Digest(b, reg, since)...)
	return channel.File{
		Name:  b.Site.ID + "-" + b.Now.In(b.Site.Location()).Format(time.DateOnly) + ".xlsx",
		Title: b.Site.Name, Data: data,
	}, err
}

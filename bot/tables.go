package bot

import (
	"context"
	"strings"
	"time"

	"clogwise/internal/auditfile"
	"clogwise/internal/channel"
	"clogwise/internal/locale"
	"clogwise/internal/phrase"
	"clogwise/internal/say"
)

// tableAsked answers "digest xlsx", "due csv" and "chart AHU-3 bag xlsx" with a
// file for those who keep one.
func (e *Engine) tableAsked(ctx context.Context, t *talk) (handled bool, err error) {
	words := strings.Fields(strings.ToLower(t.m.Text))
	if len(words) < 2 {
		return false, nil
	}
	form := words[len(words)-1]
	switch form {
	case "excel", "spreadsheet":
		form = "xlsx"
	case "xlsx", "csv":
	default:
		return false, nil
	}
	m := phrase.Understand(strings.Join(words[:len(words)-1], " "), t.scope)
	if m.Outcome != phrase.Question {
		return false, nil
	}
	var p channel.Post
	switch m.Query.Kind {
	case phrase.QueryDue, phrase.QueryDigest:
		p, err = e.digestFiles(ctx, t, *m.Query, form)
	case phrase.QueryChart:
		p, err = e.chartFiles(ctx, t, *m.Query, form)
	default:
		return false, nil
	}
	if err != nil {
		return true, err
	}
	if len(p.Files) == 0 {
		return true, e.hint(ctx, t, t.own(say.NotUnderstood(t.in())))
	}
	return true, e.reply(ctx, t, p)
}

func (e *Engine) digestFiles(ctx context.Context, t *talk, q phrase.Query, form string) (p channel.Post, err error) {
	for _, s := range e.sitesAsked(t, q) {
		b, err := e.View.Board(ctx, s, e.Now())
		if err != nil {
			return p, err
		}
		tables := []auditfile.Table{auditfile.Due(b)}
		if form == "xlsx" {
			since, err := e.View.Since(ctx, s, time.Time{}, e.Now())
			if err != nil {
				return p, err
			}
			tables = auditfile.Digest(b, t.reg, since)
		}
		f, err := tableFile(s.ID+"-"+e.Now().In(s.Location()).Format(time.DateOnly), s.Name, form, tables)
		if err != nil {
			return p, err
		}
		p.Files = append(p.Files, f)
		p.Text += say.TableOf(t.in(), s.Name) + "\n"
	}
	return p, nil
}

func (e *Engine) chartFiles(ctx context.Context, t *talk, q phrase.Query, form string) (p channel.Post, err error) {
	const most = 4
	for _, id := range t.banksAsked(q) {
		if len(p.Files) == most {
			break
		}
		in, err := e.View.Picture(ctx, id, e.Now())
		if err != nil {
			return p, err
		}
		tables := auditfile.Chart(in, locale.Of(t.siteOf(id).Language))
		if form == "csv" {
			tables = tables[:1]
		}
		f, err := tableFile(strings.ReplaceAll(string(id), "/", "-"), t.reg.Name(id), form, tables)
		if err != nil {
			return p, err
		}
		p.Files = append(p.Files, f)
		p.Text += say.TableOf(t.in(), t.reg.Name(id)) + "\n"
	}
	return p, nil
}

func tableFile(name, title, form string, tables []auditfile.Table) (f channel.File, err error) {
	f = channel.File{Name: name + "." + form, Title: title}
	if form == "csv" {
		f.Data, err = auditfile.CSV(tables[0])
	} else {
		f.Data, err = auditfile.XLSX(tables...)
	}
	return f, err
}

package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"clogwise/internal/app"
	"clogwise/internal/entry"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
)

// understoodPlaces reads a place as it would be typed in chat.
func understoodPlaces(reg *plant.Register, place string, now time.Time) (banks []plant.BankID, question string) {
	sites, _ := sitesNamed(reg, "")
	m := phrase.Understand("how "+place, phrase.Scope{Register: reg, Sites: sites, Now: now})
	if m.Ask != nil {
		return nil, m.Ask.Text
	}
	if m.Query != nil {
		for _, id := range m.Query.Places {
			banks = append(banks, reg.Banks(id)...)
		}
	}
	return banks, ""
}

func (p *program) importCommand() *cobra.Command {
	var save, history, whole bool
	var cols columnFlags
	c := &cobra.Command{
		Use: "import FILE…", Short: "Read a register (YAML, CSV, XLSX) or, with --readings, a history; a trial unless --save is given",
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				if whole {
					return p.importLedger(ctx, a, args, save)
				}
				if history {
					return p.importReadings(ctx, a, args, save, cols)
				}
				return p.importRegister(ctx, a, args, save, cols)
			})
		},
	}
	c.Flags().BoolVar(&save, "save", false, "record it; without this flag only the faults are listed")
	c.Flags().BoolVar(&history, "readings", false, "the files hold readings and change-outs")
	c.Flags().BoolVar(&whole, "whole", false, "the file is a whole ledger, as export --table ledger wrote it; it goes into an empty one")
	c.Flags().BoolVar(&cols.guess, "guess", false, "take columns of other names as guessed; without this flag the guesses are shown and nothing is read")
	c.Flags().StringSliceVar(&cols.stated, "columns", nil, "what columns of other names are: HEADER=COLUMN or HEADER=COLUMN:UNIT")
	c.MarkFlagsMutuallyExclusive("readings", "whole")
	return c
}

func (p *program) importRegister(ctx context.Context, a *app.App, files []string, save bool, as columnFlags) error {
	cols, err := p.columns(files, false, as)
	if err != nil {
		return err
	}
	old, err := a.View.Register(ctx)
	if err != nil {
		return err
	}
	im := registerfile.Import{Columns: cols}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			return err
		}
		im.Add(name, f)
		if err := f.Close(); err != nil {
			return err
		}
	}
	c, faults := im.Finish(old.Contents())
	if err := p.faults(faults); err != nil {
		return err
	}
	if !save {
		return p.done("%d sites, %d AHUs, %d banks, %d items; no faults. Nothing saved: add --save to record it.", len(c.Sites), len(c.AHUs), len(c.Banks), len(c.Items))
	}
	n, err := a.ApplyRegister(ctx, c, "import", sourceOf(files), a.Now())
	if err != nil {
		return err
	}
	if _, err := a.View.Rebuild(ctx, a.Now(), nil); err != nil {
		return err
	}
	return p.done("%d objects recorded: %d sites, %d AHUs, %d banks, %d items in all.", n, len(c.Sites), len(c.AHUs), len(c.Banks), len(c.Items))
}

func (p *program) importLedger(ctx context.Context, a *app.App, files []string, save bool) error {
	if len(files) != 1 {
		return errors.New("a ledger is one file")
	}
	f, err := os.Open(files[0])
	if err != nil {
		return err
	}
	n, err := a.ImportLedger(ctx, files[0], f, save)
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if !save {
		return p.done("%d entries; no faults. Nothing saved: add --save to record them.", n)
	}
	if _, err := a.View.Rebuild(ctx, a.Now(), nil); err != nil {
		return err
	}
	return p.done("%d entries brought back with their numbers, and every forecast made anew. Keys, posts and the settings are not part of it.", n)
}

func sourceOf(files []string) string {
	var base []string
	for _, f := range files {
		base = append(base, filepath.Base(f))
	}
	return strings.Join(base, "+")
}

func (p *program) importReadings(ctx context.Context, a *app.App, files []string, save bool, as columnFlags) error {
	cols, err := p.columns(files, true, as)
	if err != nil {
		return err
	}
	reg, err := a.View.Register(ctx)
	if err != nil {
		return err
	}
	var all []entry.Entry
	var faults []registerfile.Fault
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			return err
		}
		entries, bad := registerfile.ReadHistoryAs(name, f, cols, reg, a.Now())
		if err := f.Close(); err != nil {
			return err
		}
		all, faults = append(all, entries...), append(faults, bad...)
	}
	if err := p.faults(faults); err != nil {
		return err
	}
	if !save {
		return p.done("%d readings and change-outs; no faults. Nothing saved: add --save to record them.", len(all))
	}
	fresh, known, err := a.Record(ctx, all)
	if err != nil {
		return err
	}
	if _, err := a.View.Rebuild(ctx, a.Now(), nil); err != nil {
		return err
	}
	return p.done("%d recorded, %d known already.", fresh, known)
}

// faults prints every fault and fails when there is one.
func (p *program) faults(faults []registerfile.Fault) error {
	if len(faults) == 0 {
		return nil
	}
	for _, f := range faults {
		if p.json {
			if err := p.printJSON(f); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintln(p.out, f)
	}
	return fmt.Errorf("%d faults; nothing was saved. Mend the rows named above and import again", len(faults))
}

func (p *program) done(format string, args ...any) error {
	text := fmt.Sprintf(format, args...)
	if p.json {
		return p.printJSON(map[string]string{"result": text})
	}
	fmt.Fprintln(p.out, text)
	return nil
}

func (p *program) exportCommand() *cobra.Command {
	var what string
	c := &cobra.Command{
		Use: "export FILE", Short: "Write the register (YAML, CSV, XLSX) or the whole ledger (NDJSON; with --table ledger CSV, XLSX); - is standard output",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return p.with(c, func(ctx context.Context, a *app.App) error {
				return p.export(ctx, a, args[0], what)
			})
		},
	}
	c.Flags().StringVar(&what, "table", "", "sites, items, ahus or banks of a CSV file (default banks), or ledger")
	return c
}

func (p *program) export(ctx context.Context, a *app.App, name, table string) (err error) {
	w := p.out
	if name != "-" {
		f, ferr := os.Create(name)
		if ferr != nil {
			return ferr
		}
		defer func() {
			if cerr := f.Close(); err == nil {
				err = cerr
			}
		}()
		w = f
	}
	ext := strings.ToLower(filepath.Ext(name))
	if table == ledgerTable || ext == ".ndjson" || ext == ".jsonl" || ext == "" {
		if ext == "" {
			name = "-.ndjson"
		}
		_, err := a.ExportLedger(ctx, name, w)
		return err
	}
	reg, err := a.View.Register(ctx)
	if err != nil {
		return err
	}
	switch ext {
	case ".yaml", ".yml":
		return registerfile.WriteYAML(w, reg.Contents())
	case ".csv":
		return registerfile.WriteCSV(w, registerfile.Table(cmp.Or(table, "banks")), reg.Contents())
	case ".xlsx":
		return registerfile.WriteXLSX(w, reg.Contents())
	}
	return fmt.Errorf("%q is not a form to export to; name a file ending in .yaml, .csv, .xlsx or .ndjson", ext)
}

// ledgerTable asks for the entries instead of the register.
const ledgerTable = "ledger"

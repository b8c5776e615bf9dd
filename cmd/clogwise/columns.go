package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"clogwise/internal/registerfile"
)

// columnFlags say what the columns of imported tables are that do not have our
// names.
type columnFlags struct {
	guess  bool     // a person has seen the guesses and takes them
	stated []string // HEADER=COLUMN or HEADER=COLUMN:UNIT
}

// columns puts together what is stated and guessed of the files' columns.
// Guesses that nobody has confirmed are shown, and nothing is read.
func (p *program) columns(files []string, history bool, f columnFlags) (registerfile.Columns, error) {
	cols := registerfile.Columns{}
	for _, s := range f.stated {
		i := strings.LastIndexByte(s, '=')
		if i < 1 || i == len(s)-1 {
			return nil, fmt.Errorf("--columns %q is not HEADER=COLUMN or HEADER=COLUMN:UNIT", s)
		}
		column, unit, _ := strings.Cut(s[i+1:], ":")
		cols[s[:i]] = registerfile.As{Column: column, Unit: unit}
	}
	open := false
	for _, name := range files {
		all, err := guessesOf(name, history)
		if err != nil {
			return nil, err
		}
		for _, g := range all {
			if _, said := cols[g.Header]; said {
				continue
			}
			if f.guess && g.Why == "" {
				cols[g.Header] = g.As
				continue
			}
			open = open || !f.guess
			if err := p.showColumn(g); err != nil {
				return nil, err
			}
		}
	}
	if open {
		return nil, errors.New("columns of other names; nothing was saved. --guess takes them as shown; --columns 'HEADER=COLUMN' or 'HEADER=COLUMN:UNIT' says what one is")
	}
	return cols, nil
}

func guessesOf(name string, history bool) ([]registerfile.Guess, error) {
	if ext := strings.ToLower(filepath.Ext(name)); ext == ".yaml" || ext == ".yml" {
		return nil, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	all, _ := registerfile.GuessColumns(name, f, history) // its faults are told when it is read
	return all, f.Close()
}

func (p *program) showColumn(g registerfile.Guess) error {
	if p.json {
		return p.printJSON(g)
	}
	text := "is " + g.Column
	if g.Unit != "" {
		text += " in " + g.Unit
	}
	if g.Why != "" {
		text = "? " + g.Why
	}
	if g.Sample != "" {
		text += fmt.Sprintf(" (first: %s)", g.Sample)
	}
	_, err := fmt.Fprintf(p.out, "%s: column %q %s\n", filepath.Base(g.File), g.Header, text)
	return err
}

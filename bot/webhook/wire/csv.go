package wire

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// decodeCSV reads rows whose header names the fields of Item.
func decodeCSV(body []byte, most int) ([]Parsed, error) {
	r := csv.NewReader(bytes.NewReader(body))
	r.TrimLeadingSpace = true
	head, err := r.Read()
	if err != nil {
		return nil, errors.New("CSV: no header row; write for example: bank,at,pa")
	}
	if head, err = header(head); err != nil {
		return nil, err
	}
	var items []Parsed
	for {
		rec, err := r.Read()
		if err == io.EOF {
			return items, nil
		}
		if err != nil {
			return nil, fmt.Errorf("CSV: %w", err)
		}
		if len(items) == most {
			return nil, tooMany(most)
		}
		items = append(items, csvRow(head, rec))
	}
}

func header(head []string) ([]string, error) {
	seen := map[string]bool{}
	out := make([]string, len(head))
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(h))
		switch {
		case new(Item).slot(h) == nil:
			return nil, fmt.Errorf("CSV: no column %q; columns are parted by commas and listed at /openapi.json", Clip(h))
		case seen[h]:
			return nil, fmt.Errorf("CSV: column %s is given twice", h)
		}
		seen[h], out[i] = true, h
	}
	return out, nil
}

func csvRow(head, rec []string) Parsed {
	var p Parsed
	for i, cell := range rec {
		if cell = strings.TrimSpace(cell); cell != "" {
			p.put(head[i], scalar(p.slot(head[i]), cell))
		}
	}
	return p
}

var plainNumber = regexp.MustCompile(`^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$`)

// scalar reads a cell as the JSON scalar that its field takes; what does not fit
// stays a string, which the field then refuses.
func scalar(into any, cell string) any {
	switch into.(type) {
	case **float64, **int:
		if plainNumber.MatchString(cell) {
			return json.Number(cell)
		}
	case *bool:
		if b, err := strconv.ParseBool(cell); err == nil {
			return b
		}
	case *string, **time.Time:
	}
	return cell
}

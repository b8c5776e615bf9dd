package registerfile

import (
	"encoding"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"clogwise/internal/plant"
	"clogwise/internal/units"
)

// format writes the value of one field as a table cell; zero values are empty.
func format(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		return number(v.Elem().Float()) // a pointer says "known", even when it is 0
	}
	if v.IsZero() {
		return ""
	}
	switch x := v.Interface().(type) {
	case []plant.Front:
		return joined(x, formatFront)
	case []plant.FlowPoint:
		return joined(x, func(p plant.FlowPoint) string { return number(p.FlowM3s) + ":" + number(p.Pa) })
	case []plant.FlowShare:
		return joined(x, func(s plant.FlowShare) string { return number(s.Fraction) + ":" + number(s.Share) })
	case []plant.TariffBand:
		return joined(x, func(b plant.TariffBand) string {
			return strings.ReplaceAll(b.Days, " ", "") + " " + b.From + "-" + b.To + " " + b.PerKWh.String()
		})
	case map[string]float64:
		return joined(slices.Sorted(maps.Keys(x)), func(k string) string { return k + ":" + number(x[k]) })
	case fmt.Stringer: // decimal
		return x.String()
	}
	switch v.Kind() {
	case reflect.Slice:
		words := make([]string, v.Len())
		for i := range words {
			words[i] = v.Index(i).String()
		}
		return joined(words, func(s string) string { return s })
	case reflect.Bool:
		return "yes"
	case reflect.Float64:
		return number(v.Float())
	case reflect.Int:
		return strconv.FormatInt(v.Int(), 10)
	}
	return v.String()
}

func formatFront(f plant.Front) string {
	s := fmt.Sprintf("%d x %dx%dx%d", f.Count, f.WidthMM, f.HeightMM, f.DepthMM)
	if f.Item != "" {
		s += " " + f.Item
	}
	return s
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func joined[T any](list []T, write func(T) string) string {
	parts := make([]string, len(list))
	for i, x := range list {
		parts[i] = strings.NewReplacer(`\`, `\\`, ";", `\;`).Replace(write(x))
	}
	return strings.Join(parts, "; ")
}

// split undoes joined; empty parts are left out.
func split(cell string) []string {
	var parts []string
	var b strings.Builder
	flush := func() {
		if s := strings.TrimSpace(b.String()); s != "" {
			parts = append(parts, s)
		}
		b.Reset()
	}
	escaped := false
	for _, r := range cell {
		switch {
		case escaped:
			b.WriteRune(r)
			escaped = false
		case r == '\\':
			escaped = true
		case r == ';':
			flush()
		default:
			b.WriteRune(r)
		}
	}
	flush()
	return parts
}

// parse reads a table cell into a field; an empty cell clears it. The name of
// the column tells which units a number may carry.
func parse(cell, column string, v reflect.Value) error {
	if cell == "" {
		v.SetZero()
		return nil
	}
	if v.Kind() == reflect.Pointer {
		x := reflect.New(v.Type().Elem())
		if err := parse(cell, column, x.Elem()); err != nil {
			return err
		}
		v.Set(x)
		return nil
	}
	switch p := v.Addr().Interface().(type) {
	case *[]plant.Front:
		return parseList(cell, p, parseFront)
	case *[]plant.FlowPoint:
		return parseList(cell, p, func(s string) (plant.FlowPoint, error) {
			a, b, err := pair(s, "0.944:87 (m³/s : Pa)")
			return plant.FlowPoint{FlowM3s: a, Pa: b}, err
		})
	case *[]plant.FlowShare:
		return parseList(cell, p, func(s string) (plant.FlowShare, error) {
			a, b, err := pair(s, "0.6:0.3 (fraction : share)")
			return plant.FlowShare{Fraction: a, Share: b}, err
		})
	case *[]plant.TariffBand:
		return parseList(cell, p, parseBand)
	case *map[string]float64:
		return parseHours(cell, p)
	case encoding.TextUnmarshaler: // decimal
		if err := p.UnmarshalText([]byte(cell)); err != nil {
			return misfit(cell, "an amount such as 12.50")
		}
		return nil
	}
	return parsePlain(cell, column, v)
}

func misfit(cell, want string) error { return fmt.Errorf("%q does not fit; write %s", cell, want) }

func parsePlain(cell, column string, v reflect.Value) error {
	switch v.Kind() {
	case reflect.Slice:
		list := reflect.Zero(v.Type())
		for _, s := range split(cell) {
			list = reflect.Append(list, reflect.ValueOf(s).Convert(v.Type().Elem()))
		}
		v.Set(list)
	case reflect.Bool:
		b, ok := yes[strings.ToLower(cell)]
		if !ok {
			return misfit(cell, "yes or no")
		}
		v.SetBool(b)
	case reflect.Float64:
		x, err := quantity(cell, column)
		if err != nil {
			return err
		}
		v.SetFloat(x)
	case reflect.Int:
		n, err := strconv.ParseInt(cell, 10, 32)
		if err != nil {
			return misfit(cell, "a whole number")
		}
		v.SetInt(n)
	default:
		v.SetString(cell)
	}
	return nil
}

var yes = map[string]bool{
	"yes": true, "y": true, "true": true, "1": true, "x": true, "ja": true, "si": true, "sí": true,
	"no": false, "nein": false, "n": false, "false": false, "0": false, "-": false,
}

var numberUnit = regexp.MustCompile(`^([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)$`)

// quantity reads a number; one of pressure or airflow may carry a unit.
func quantity(cell, column string) (float64, error) {
	m := numberUnit.FindStringSubmatch(cell)
	if m == nil {
		return 0, misfit(cell, "a number such as 1.5")
	}
	x, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return 0, misfit(cell, "a number such as 1.5")
	}
	if m[2] == "" {
		return x, nil
	}
	switch {
	case strings.HasSuffix(column, "_pa"), column == "pa":
		if u, ok := units.ParsePressureUnit(m[2]); ok {
			return u.ToPa(x), nil
		}
		return 0, misfit(cell, "Pa, or a number with its unit such as \"0.8 in wc\"")
	case strings.HasSuffix(column, "_m3s"):
		if u, ok := units.ParseFlowUnit(m[2]); ok {
			return u.ToM3s(x), nil
		}
		return 0, misfit(cell, "m³/s, or a number with its unit such as \"6400 cfm\"")
	}
	return 0, misfit(cell, "the number alone")
}

func parseList[T any](cell string, into *[]T, read func(string) (T, error)) error {
	var list []T
	for _, s := range split(cell) {
		x, err := read(s)
		if err != nil {
			return err
		}
		list = append(list, x)
	}
	*into = list
	return nil
}

// pair reads "0.944:87".
func pair(s, example string) (a, b float64, err error) {
	left, right, ok := strings.Cut(s, ":")
	a, errA := strconv.ParseFloat(strings.TrimSpace(left), 64)
	b, errB := strconv.ParseFloat(strings.TrimSpace(right), 64)
	if !ok || errA != nil || errB != nil {
		return 0, 0, misfit(s, example)
	}
	return a, b, nil
}

func parseHours(cell string, into *map[string]float64) error {
	hours := map[string]float64{}
	for _, s := range split(cell) {
		days, h, ok := strings.Cut(s, ":")
		x, err := strconv.ParseFloat(strings.TrimSpace(h), 64)
		if !ok || err != nil {
			return misfit(s, "days and hours such as Mon-Fri:14")
		}
		hours[strings.TrimSpace(days)] = x
	}
	*into = hours
	return nil
}

// parseBand reads "Mon-Fri 22:00-06:00 0.12".
func parseBand(s string) (plant.TariffBand, error) {
	const example = "days, hours and price such as \"Mon-Fri 22:00-06:00 0.12\""
	f := strings.Fields(s)
	if len(f) < 3 {
		return plant.TariffBand{}, misfit(s, example)
	}
	n := len(f)
	b := plant.TariffBand{Days: strings.Join(f[:n-2], "")}
	from, to, ok := strings.Cut(f[n-2], "-")
	if err := b.PerKWh.UnmarshalText([]byte(f[n-1])); err != nil || !ok {
		return plant.TariffBand{}, misfit(s, example)
	}
	b.From, b.To = from, to
	return b, nil
}

var frontForm = regexp.MustCompile(`^(\d{1,4})\s*(?:x|×|off|pcs)?\s+(\d{1,4})\s*[x×]\s*(\d{1,4})\s*[x×]\s*(\d{1,4})(?:\s+(\S.*))?$`)

// parseFront reads "4 x 592x592x600 CODE".
func parseFront(s string) (plant.Front, error) {
	m := frontForm.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil {
		return plant.Front{}, misfit(s, "count and size in mm such as \"4 x 592x592x600\"")
	}
	var n [4]int
	for i := range n {
		n[i], _ = strconv.Atoi(m[i+1]) // at most four digits
	}
	return plant.Front{Count: n[0], WidthMM: n[1], HeightMM: n[2], DepthMM: n[3], Item: m[5]}, nil
}

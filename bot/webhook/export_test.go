package webhook

import "slices"

// Paths lists the routes, sorted.
func Paths() []string {
	var out []string
	for _, r := range new(api).routes() {
		out = append(out, r.path)
	}
	slices.Sort(out)
	return out
}

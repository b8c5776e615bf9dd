package webhook

import (
	"net/http"
	"slices"

	"clogwise/internal/ledger"
)

// Paths lists the routes, sorted.
func Paths() []string {
	var out []string
	for _, r := range new(api).routes() {
		out = append(out, r.path)
	}
	slices.Sort(out)
	return out
}

// Decode reads a body and returns, of each item, its fault or "".
func Decode(h http.Header, body []byte, most int) ([]string, error) {
	items, err := decodeItems(h, body, most)
	var out []string
	for _, p := range items {
		if p.err != nil {
			out = append(out, p.err.Error())
		} else {
			out = append(out, "")
		}
	}
	return out, err
}

// Unpack undoes a content encoding.
var Unpack = unpack

// Prove finds the key that headers and body prove to hold at a moment.
func Prove(s Server, keys []ledger.Key, h http.Header, body []byte) (ledger.Key, error) {
	c, err := claimOf(h, s.Now())
	if err != nil {
		return ledger.Key{}, err
	}
	return authenticate(keys, c, h, body, s.Now())
}

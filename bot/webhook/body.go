package webhook

import (
	"bytes"
	"net/http"
)

// unpackTimes is how much larger than the bound on the body its content may be
// once unpacked.
const unpackTimes = 8

// readBody reads a request's body as it was sent, at most maxBody bytes.
func readBody(w http.ResponseWriter, r *http.Request, maxBody int64) ([]byte, error) {
	if r.ContentLength > maxBody {
		return nil, &http.MaxBytesError{Limit: maxBody}
	}
	var b bytes.Buffer
	if r.ContentLength > 0 {
		b.Grow(int(r.ContentLength) + bytes.MinRead)
	}
	_, err := b.ReadFrom(http.MaxBytesReader(w, r.Body, maxBody))
	return b.Bytes(), err
}

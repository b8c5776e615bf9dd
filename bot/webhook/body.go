package webhook

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"github.com/klauspost/compress/zstd"
)

// unpackTimes is how much larger than the bound on the body its content may be
// once unpacked.
const unpackTimes = 8

// Faults of a body, each with its own status.
var (
	errEncoding = errors.New("unsupported content encoding; send gzip, zstd or none")
	errUnpack   = errors.New("the body cannot be unpacked as its Content-Encoding says")
)

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

// unpack undoes the content encoding, up to most bytes.
func unpack(encoding string, body []byte, most int64) ([]byte, error) {
	var r io.Reader
	switch strings.ToLower(strings.TrimSpace(encoding)) {
	case "", "identity":
		return body, nil
	case "gzip", "x-gzip":
		z, err := gzip.NewReader(bytes.NewReader(body))
		if err != nil {
			return nil, fmt.Errorf("%w: %w", errUnpack, err)
		}
		r = z
	case "zstd":
		// RFC 9659 bounds the window of zstd in HTTP to 8 MiB.
		z, err := zstd.NewReader(bytes.NewReader(body), zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(8<<20), zstd.WithDecoderMaxMemory(uint64(most)+8<<20))
		if err != nil {
			return nil, fmt.Errorf("%w: %w", errUnpack, err)
		}
		defer z.Close()
		r = z
	default:
		return nil, errEncoding
	}
	plain, err := io.ReadAll(io.LimitReader(r, most+1))
	if int64(len(plain)) > most {
		return nil, &http.MaxBytesError{Limit: most}
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errUnpack, err)
	}
	return plain, nil
}

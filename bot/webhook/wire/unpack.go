package wire

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

// Faults of a packed body, each with its own status.
var (
	ErrEncoding = errors.New("unsupported content encoding; send gzip, zstd or none")
	ErrUnpack   = errors.New("the body cannot be unpacked as its Content-Encoding says")
)

// Unpack undoes a content encoding (gzip, zstd, or none, which is returned as it
// is). Content of more than most bytes is an *http.MaxBytesError; else an error
// is ErrEncoding or wraps ErrUnpack.
func Unpack(encoding string, body []byte, most int64) ([]byte, error) {
	var r io.Reader
	switch strings.ToLower(strings.TrimSpace(encoding)) {
	case "", "identity":
		return body, nil
	case "gzip", "x-gzip":
		z, err := gzip.NewReader(bytes.NewReader(body))
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrUnpack, err)
		}
		r = z
	case "zstd":
		// RFC 9659 bounds the window of zstd in HTTP to 8 MiB.
		z, err := zstd.NewReader(bytes.NewReader(body), zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(8<<20), zstd.WithDecoderMaxMemory(uint64(most)+8<<20))
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrUnpack, err)
		}
		defer z.Close()
		r = z
	default:
		return nil, ErrEncoding
	}
	plain, err := io.ReadAll(io.LimitReader(r, most+1))
	if int64(len(plain)) > most {
		return nil, &http.MaxBytesError{Limit: most}
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrUnpack, err)
	}
	return plain, nil
}

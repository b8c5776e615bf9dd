package terminal

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"

	"clogwise/internal/channel"
)

// droppedFile reads "import readings.csv", or the path of a table alone, as a
// file dropped into the channel.
func droppedFile(text string) (channel.Dropped, bool) {
	path := text
	if first, rest, ok := strings.Cut(text, " "); ok && strings.EqualFold(first, "import") {
		path = strings.TrimSpace(rest)
	}
	path = strings.Trim(path, `"'`)
	switch strings.ToLower(filepath.Ext(path)) {
	case ".csv", ".tsv", ".xlsx":
	default:
		return channel.Dropped{}, false
	}
	st, err := os.Stat(path)
	if err != nil || !st.Mode().IsRegular() {
		return channel.Dropped{}, false
	}
	return channel.Dropped{Name: filepath.Base(path), Size: st.Size(), Open: func(context.Context) (io.ReadCloser, error) {
		return os.Open(path)
	}}, true
}

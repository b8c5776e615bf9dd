package slack

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"

	"clogwise/internal/channel"
)

// maxDownload bounds what is fetched of a file, whatever size was announced.
const maxDownload = 8 << 20

// file is a file as a message event names it.
type file struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Size int64  `json:"size"`
	URL  string `json:"url_private_download"`
}

// dropped are the files of a message, to be fetched when they are asked for.
func (e *Edge) dropped(files []file) []channel.Dropped {
	var out []channel.Dropped
	for _, f := range files {
		if f.Name == "" {
			continue
		}
		out = append(out, channel.Dropped{Name: f.Name, Size: f.Size, Open: func(ctx context.Context) (io.ReadCloser, error) {
			return e.fetch(ctx, f)
		}})
	}
	return out
}

// fetch downloads a file with the bot's token, which goes to the platform alone.
func (e *Edge) fetch(ctx context.Context, f file) (io.ReadCloser, error) {
	if f.URL == "" { // files from other workspaces are announced by id alone
		info, _, _, err := e.api.GetFileInfoContext(ctx, f.ID, 0, 0)
		if err != nil {
			return nil, fmt.Errorf("slack: files.info: %w", redacted(err))
		}
		f.URL = info.URLPrivateDownload
	}
	b := &bounded{left: maxDownload}
	if err := e.api.GetFileContext(ctx, f.URL, b); err != nil && !errors.Is(err, errFull) {
		return nil, fmt.Errorf("slack: download of a file: %w", redacted(err))
	}
	return io.NopCloser(&b.Buffer), nil
}

var errFull = errors.New("slack: file larger than is read")

// bounded is a buffer that takes no more than so many bytes.
type bounded struct {
	bytes.Buffer
	left int
}

// Write implements io.Writer.
func (b *bounded) Write(p []byte) (int, error) {
	if len(p) > b.left {
		n, _ := b.Buffer.Write(p[:b.left])
		b.left = 0
		return n, errFull
	}
	b.left -= len(p)
	return b.Buffer.Write(p)
}

package worker

import (
	"time"

	"clogwise/internal/auditfile"
	"clogwise/internal/channel"
	"clogwise/internal/digest"
	"clogwise/internal/plant"
)

// digestFile is the workbook that goes with the weekly post, for the audit file.
func digestFile(b digest.Board, reg *plant.Register, since digest.Since) (channel.File, error) {
	data, err := auditfile.XLSX(auditfile.Digest(b, reg, since)...)
	return channel.File{
		Name:  b.Site.ID + "-" + b.Now.In(b.Site.Location()).Format(time.DateOnly) + ".xlsx",
		Title: b.Site.Name, Data: data,
	}, err
}

package demo

import (
	"bytes"

	"clogwise/configs"
	"clogwise/internal/plant"
	"clogwise/internal/registerfile"
)

// Portfolio is the register of the demo. Its files are built in and a test holds
// them to no faults, so none are returned.
func Portfolio() plant.Contents {
	var im registerfile.Import
	im.Add("clinic.yaml", bytes.NewReader(configs.DemoClinic))
	im.Add("hall.yaml", bytes.NewReader(configs.DemoHall))
	im.Add("works.yaml", bytes.NewReader(configs.DemoWorks))
	c, _ := im.Finish(plant.Contents{})
	return c
}

// Package configs holds the files that are built into the program.
package configs

import _ "embed"

// The demo portfolio's register, one site a file.
var (
	//go:embed demo/clinic.yaml
	DemoClinic []byte
	//go:embed demo/hall.yaml
	DemoHall []byte
	//go:embed demo/works.yaml
	DemoWorks []byte
)

// SafeWorkSteps are the steps that crews are reminded of, with their sources.
//
//go:embed safe-work-steps.json
var SafeWorkSteps []byte

package webhook

import (
	_ "embed"
	"net/http"
)

// openAPI describes the routes (OpenAPI 3.1). Tests send every example in it.
//
//go:embed openapi.json
var openAPI []byte

func (s *api) description(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "application/json")
	_, err := w.Write(openAPI)
	if err != nil {
		s.Log.Debug("answer not written", "error", err)
	}
	return nil
}

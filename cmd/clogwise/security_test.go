package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A register whose ids are paths is refused, and no place that is asked for leads
// out of the data folder.
func TestImportAndChartStayInTheirFolders(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	data := filepath.Join(root, "in", "data")
	const up = "../../outside"
	for name, text := range map[string]string{
		"site.yaml": "sites:\n  - {id: " + up + ", name: X, zone: Europe/London, currency: GBP}\n",
		"bank.csv":  "site,ahu,bank,limit_pa\nclinic," + up + ",primary,200\nclinic,ahu-1," + up + ",200\n",
	} {
		file := filepath.Join(root, name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		out, errs, err := clogwise(t, "", "import", file, "--save", "--data", data)
		if err == nil {
			t.Errorf("%s was imported: %s%s", name, out, errs)
		}
	}
	for _, place := range []string{up, "clinic/" + up + "/primary", "/etc/passwd", "clinic/ahu-1/" + up} {
		if out, _, err := clogwise(t, "", "chart", place, "--data", data); err == nil {
			t.Errorf("a chart of %s: %s", place, out)
		}
	}
	found, err := filepath.Glob(filepath.Join(root, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		if base := filepath.Base(f); strings.Contains(base, "outside") || strings.HasSuffix(base, ".png") {
			t.Errorf("written outside: %s", f)
		}
	}
}

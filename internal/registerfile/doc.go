// Package registerfile reads and writes the files in which a register or a
// history of readings is filed: YAML, CSV and XLSX. It takes and gives bytes;
// who calls it opens the files.
//
// # YAML
//
// Two lists, sites and items; AHUs stand inside their site and banks inside
// their AHU. Keys are the yaml names of the fields in package plant. An id left
// out is made of the site's name, the AHU's tag or the bank's stage. An object
// in a YAML file replaces the one of the same id as a whole.
//
// # Flat tables (CSV, XLSX)
//
// Three tables: sites, items and banks, told apart by their columns. A column
// has the yaml name of its field, an inner field after its outer one
// (tariff_per_kwh, gauge_top_pa). Upper case, blanks, hyphens and brackets in a
// header do not matter: "Limit (Pa)" is limit_pa. The banks table has one row
// per bank with the columns site, ahu and bank, the bank's own fields, and those
// of its AHU with ahu_ before the name; they may be left empty after the AHU's
// first row. An AHU without banks has a row with an empty bank.
//
// A column that is there fills its field, with nothing where the cell is empty;
// fields without a column stay as they were. So a table of three columns can
// change one limit.
//
// Lists are written with semicolons (a semicolon inside a text as \;):
//
//	aliases          pleats; panel
//	fronts           4 x 592x592x600; 2 x 287x592x600 QB-600H
//	points           0.472:36; 0.944:87          of an item: airflow m³/s : Pa; fan_curve likewise
//	flow_profile     0.6:0.3; 1:0.7              fraction of design airflow : share of running time
//	schedule_hours   Mon-Fri:14; Sat:6
//	tariff_bands     Mon-Fri 22:00-06:00 0.12
//
// A pressure may carry another unit ("0.8 in wc"), an airflow too ("6400 cfm").
// The flat form carries every field, so nothing is lost on the way through it.
// A cell of text that a spreadsheet would take for a formula is written with an
// apostrophe before it, which is taken away again on reading.
//
// # History
//
// One row per reading or change-out: see ReadHistory.
package registerfile

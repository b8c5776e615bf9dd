package forecast

// Doubt about readings lives in package clogwise/internal/doubt, which another
// hand builds on this package's predictive distribution. Nothing belongs here.

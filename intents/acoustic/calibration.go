package acoustic

// calibration maps the evidence to a probability that the callout was said;
// fitted by intents/train/calibrate.py, in the order of evidence.features.
var calibration = [...]float64{3.3775, 5.3608, 0.4025, -0.3369, -4.6999, -1.1206, 1.2406, 1.3275, 2.6935, 0.1782, -1.2261, -0.0917, -19.2090, 0, 0, 0, 0, 0, 0}

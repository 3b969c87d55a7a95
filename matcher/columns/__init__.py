"""The catalogue as arrays: process tolerances, predictions of what is not stated, series' laws."""

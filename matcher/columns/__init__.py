"""The catalogue as arrays: process tolerances, imputation of missing values, series' laws."""

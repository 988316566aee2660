"""Tables and files for GIS programs and spreadsheets."""

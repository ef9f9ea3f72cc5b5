"""Printed forms: PDF pages drawn with ReportLab from facts that are already formatted."""
